"""``python -m tests.app.kill_loop plain|sealed|window HOME KILLS``: random work on one job, killed again and again.

After every kill the job is opened and must hold all that a save had returned for.  Prints one JSON object with the
number of kills, of changes, and of those changes that were kept although the kill came before their save returned.
"window" works as the window does: changes go on while they are saved on a thread, and reading runs on others.
"""

from __future__ import annotations

import json
import os
import random
import select
import signal
import sys
import time
from abc import ABC, abstractmethod
from pathlib import Path

import app.sealing
import app.window.session
from app.bench import Bench
from tests.app.made import png, quick_age

WORDS = "heron lantern gravel spoon"
WORK_STARTS_S = 5.0


class Kept(ABC):
    """A kept job that is worked on."""

    ahead = 1
    """How many changes more than were said may be kept."""

    def __init__(self, home: Path) -> None:
        self.home = home
        bench = Bench("K-1")
        bench.set_spec("harbourside-5")
        bench.open_picture(png(), name="copy.png")
        self.keep(bench)
        bench.close()

    @abstractmethod
    def keep(self, bench: Bench) -> None:
        """Save a new job."""

    @abstractmethod
    def open(self) -> Bench:
        """Open the job."""

    @abstractmethod
    def work(self, own: random.Random, bench: Bench) -> Bench:
        """Change the job once; gives the bench that goes on."""

    def work_for_ever(self, say: int, seed: int) -> None:
        """Work until killed; after each save that returned, the number of the last change in it is said."""
        own = random.Random(seed)
        bench = self.open()
        count = int(bench.state.notes or 0)
        while True:
            count += 1
            bench = self.work(own, bench)
            bench.set_notes(str(count))
            assert bench.save_if_dirty(), bench.save_error
            os.write(say, b"%d\n" % count)

    def in_the_clear(self) -> list[str]:
        """Names of files that should be sealed and are not."""
        return []


class Plain(Kept):
    """A job folder, saved after each change."""

    def keep(self, bench: Bench) -> None:
        """Save the new job's folder."""
        bench.save(self.home / "job")

    def open(self) -> Bench:
        """Open the folder."""
        return Bench.open_job(self.home / "job")

    def work(self, own: random.Random, bench: Bench) -> Bench:
        """Move a mark, hold a cut, set the growth, or bring a picture."""
        kind = own.randrange(4)
        if kind == 0:
            bench.move_mark("shoulder", (own.uniform(0, 590), own.uniform(0, 290)))
        elif kind == 1:
            bench.hold(own.randrange(5), str(own.randrange(7)))
        elif kind == 2:
            bench.set_growth(own.uniform(0, 0.5))
        else:
            bench.open_picture(png(own.randrange(1, 250)), name="more.png")
            if len(bench.state.pictures) > 3:
                bench.remove_picture(1)
        return bench


class Sealed(Kept):
    """A sealed job, autosaved after each change and sealed whole now and then."""

    def keep(self, bench: Bench) -> None:
        """Seal the new job, with a quick passphrase function."""
        library = quick_age()
        app.sealing._pyrage = lambda: library
        bench.seal(self.home / "job.job.age", WORDS)

    def open(self) -> Bench:
        """Open it with its passphrase."""
        return Bench.open_sealed(self.home / "job.job.age", WORDS)

    def work(self, own: random.Random, bench: Bench) -> Bench:
        """Hold a cut; one time in three the job is closed whole and opened again before."""
        if own.randrange(3) == 0:
            bench.close()
            bench = self.open()
        bench.hold(own.randrange(5), str(own.randrange(7)))
        return bench

    def in_the_clear(self) -> list[str]:
        """Whatever is neither a sealed file nor the lock."""
        return [
            path.name
            for path in self.home.iterdir()
            if path.is_file() and path.stat().st_size and not path.read_bytes().startswith((b"age-", b'{"holder'))
        ]


class Window(Plain):
    """The same folder under the window's session: changes do not wait for their saves."""

    ahead = 10**9
    """Many changes may lie in a save that nobody was told of yet."""

    def work_for_ever(self, say: int, seed: int) -> None:
        """Work in the session's own event loop; what the session says is saved is said."""
        from PySide6.QtCore import QCoreApplication, QTimer

        application = QCoreApplication([])
        # A save is under way nearly all the time.
        app.window.session.SAVE_AFTER_MS, app.window.session.SAVE_WITHIN_S = 2, 0.0  # type: ignore[misc]
        session = app.window.session.Session(self.open())
        own = random.Random(seed)

        def change() -> None:
            bench = session.bench
            session.act(lambda: self.work(own, bench))
            session.act(lambda: bench.set_notes(str(int(bench.state.notes or 0) + 1)))

        session.saved.connect(lambda: os.write(say, b"%s\n" % session.bench.saved_state.notes.encode()))
        clock = QTimer()
        clock.timeout.connect(change)
        clock.start(1)
        application.exec()


def kill_once(job: Kept, kill: int, wait_s: float) -> list[str]:
    """Start the work, kill it, and give the numbers that were said."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            job.work_for_ever(writing, kill)
        except BaseException as error:
            print("worker:", repr(error), file=sys.stderr)
        os._exit(1)
    os.close(writing)
    if kill % 2:
        # Every second time not before a first save is done, so that a busy machine is tested too.
        select.select([reading], [], [], WORK_STARTS_S)
    time.sleep(wait_s)
    os.kill(child, signal.SIGKILL)
    _child, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the work ended before it was killed"
    with os.fdopen(reading, "rb") as pipe:
        return pipe.read().decode().split()


def main() -> None:
    """Kill, open, compare, again and again."""
    kinds: dict[str, type[Kept]] = {"plain": Plain, "sealed": Sealed, "window": Window}
    job, kills = kinds[sys.argv[1]](Path(sys.argv[2])), int(sys.argv[3])
    dice = random.Random(20261125)
    last, ahead = 0, 0
    for kill in range(kills):
        said = kill_once(job, kill, dice.uniform(0.0, 0.05))
        last = int(said[-1]) if said else last
        opened = job.open()
        assert opened.problems == (), opened.problems
        now = int(opened.state.notes or 0)
        assert last <= now <= last + job.ahead, (now, last)
        assert opened.state.spec is not None
        assert opened.state.pictures
        opened.close()
        assert not job.in_the_clear(), job.in_the_clear()
        ahead += now - last
        last = now
    print(json.dumps({"kills": kills, "changes": last, "ahead": ahead}))


if __name__ == "__main__":
    main()
