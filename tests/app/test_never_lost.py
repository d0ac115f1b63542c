"""A job survives the end of the program at any moment."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

KILLS = 200
WORK_AND_KILL = '''
import json, os, random, select, signal, sys, time
from pathlib import Path
from app.bench import Bench
from tests.app.made import png

home, kills = Path(sys.argv[1]), int(sys.argv[2])
dice = random.Random(20261125)
folder = home / "job"
bench = Bench("K-1")
bench.set_spec("harbourside-5")
bench.open_picture(png(), name="copy.png")
bench.save(folder)
bench.close()

def work(say, seed):
    """Random work for ever; after each save that returned, the number of the change is said."""
    own = random.Random(seed)
    bench = Bench.open_job(folder)
    count = int(bench.state.notes or 0)
    while True:
        count += 1
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
        bench.set_notes(str(count))
        assert bench.save_if_dirty(), bench.save_error
        os.write(say, b"%d\\n" % count)

counts, last = [], 0
for kill in range(kills):
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            work(writing, kill)
        except BaseException as error:
            print("worker:", repr(error), file=sys.stderr)
        os._exit(1)
    os.close(writing)
    if kill % 2:
        # Every second time not before a first save is done, so that a busy machine is tested too.
        select.select([reading], [], [], 5.0)
    time.sleep(dice.uniform(0.0, 0.05))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = b""
    while part := os.read(reading, 65536):
        said += part
    os.close(reading)
    lines = said.decode().split()
    last = int(lines[-1]) if lines else last
    opened = Bench.open_job(folder)
    assert opened.problems == (), opened.problems
    now = int(opened.state.notes or 0)
    assert now in (last, last + 1), (now, last)
    assert opened.state.spec is not None and opened.state.pictures
    opened.close()
    counts.append(now - last)
    last = now
print(json.dumps({"kills": kills, "changes": last, "ahead": sum(counts)}))
'''


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the worker is forked, which needs a Unix")
@pytest.mark.timeout(240)
def test_two_hundred_kills_lose_no_job(checkout: Path, tmp_path: Path) -> None:
    """Killed at random moments of random work, the job always opens whole, with all that a save had returned for."""
    done = subprocess.run(
        [sys.executable, "-c", WORK_AND_KILL, str(tmp_path), str(KILLS)],
        cwd=checkout,
        env={**os.environ, "VALLEYGAUGE_HOME": str(tmp_path / "home")},
        capture_output=True,
        text=True,
        timeout=200,
    )

    assert done.returncode == 0, done.stderr[-3000:]
    result = json.loads(done.stdout)
    assert result["kills"] == KILLS and result["changes"] >= 10, result


SEALED_AND_KILLED = '''
import json, os, random, select, signal, sys, time
from pathlib import Path
import app.sealing
from app.bench import Bench
from tests.app.made import png, quick_age

library = quick_age()
app.sealing._pyrage = lambda: library
home, kills = Path(sys.argv[1]), int(sys.argv[2])
dice = random.Random(20261126)
file, words = home / "job.job.age", "heron lantern gravel spoon"
bench = Bench("K-1")
bench.set_spec("harbourside-5")
bench.open_picture(png(), name="copy.png")
bench.seal(file, words)
bench.close()

def work(say, seed):
    """Open, change and autosave, close whole, for ever; after each save that returned its number is said."""
    own = random.Random(seed)
    while True:
        bench = Bench.open_sealed(file, words)
        count = int(bench.state.notes or 0)
        for _ in range(own.randrange(1, 6)):
            count += 1
            bench.hold(own.randrange(5), str(own.randrange(7)))
            bench.set_notes(str(count))
            assert bench.save_if_dirty(), bench.save_error
            os.write(say, b"%d\\n" % count)
        bench.close()

last, ahead = 0, 0
for kill in range(kills):
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            work(writing, kill)
        except BaseException as error:
            print("worker:", repr(error), file=sys.stderr)
        os._exit(1)
    os.close(writing)
    time.sleep(dice.uniform(0.0, 0.06))
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    said = b""
    while part := os.read(reading, 65536):
        said += part
    os.close(reading)
    lines = said.decode().split()
    last = int(lines[-1]) if lines else last
    opened = Bench.open_sealed(file, words)
    assert opened.problems == (), opened.problems
    now = int(opened.state.notes or 0)
    assert now in (last, last + 1), (now, last)
    assert opened.state.spec is not None and opened.state.pictures
    opened.close()
    clear = [p.name for p in home.iterdir() if p.is_file() and not p.read_bytes().startswith((b"age-", b"{\\"holder"))
             and p.stat().st_size]
    assert not clear, clear
    ahead += now - last
    last = now
print(json.dumps({"kills": kills, "changes": last, "ahead": ahead}))
'''


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the worker is forked, which needs a Unix")
@pytest.mark.timeout(240)
def test_sixty_kills_lose_no_sealed_job(checkout: Path, tmp_path: Path) -> None:
    """Killed while a sealed job is changed, autosaved and sealed whole, it always opens with all that a save had
    returned for, and nothing lies in the clear."""
    done = subprocess.run(
        [sys.executable, "-c", SEALED_AND_KILLED, str(tmp_path), "60"],
        cwd=checkout,
        env={**os.environ, "VALLEYGAUGE_HOME": str(tmp_path / "home")},
        capture_output=True,
        text=True,
        timeout=200,
    )

    assert done.returncode == 0, done.stderr[-3000:]
    result = json.loads(done.stdout)
    assert result["kills"] == 60 and result["changes"] >= 10, result
