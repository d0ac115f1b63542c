"""The window's one door to the Bench: every change goes through here, is read again off the thread, and is saved.

A refusal becomes one plain sentence (:attr:`Session.refused`) and changes nothing.
"""

from __future__ import annotations

import logging
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from concurrent.futures import wait
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from PySide6.QtCore import QObject, QTimer, Signal

from app.bench import Bench
from app.bench_saving import Saved, Saving
from app.bench_sealed import is_sealed
from app.bench_state import BenchPicture
from app.bench_work import LoadedPicture, WorkResult, count_keys, load_picture
from app.window.language import said
from app.window.picture_layers import PictureLayers, make_layers
from app.window.saver import Saver
from app.window.worker import Worker
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.decode import StripSegment
    from keycore.spec import KeySpec
    from keycore.trials import TrialPlan

_log = logging.getLogger(__name__)
_READ_AFTER_MS: Final = 120
"""Reading waits this long for the next nudge."""
_SETTLE_AFTER_MS: Final = 600
"""The hand rests: what went on from a kept fit is read whole."""
SAVE_AFTER_MS: Final = 350
SAVE_WITHIN_S: Final = 1.5
"""A change is saved when the hand has rested for the first; a hand that never rests is saved after the second."""
PATIENCE_S: Final = 0.1
"""The window waits so long for a save that something hangs on; what takes longer is done beside it."""
_LAYERS_KEPT: Final = 6
_BESIDE: Final = 3
"""Pictures shown beside the one that is worked on."""


class Session(QObject):
    """A Bench with the worker that reads for it and the clock that saves it."""

    changed = Signal()
    """The job, or what is known of it, is not what it was."""
    job_replaced = Signal()
    """Another job lies on the bench."""
    picture_ready = Signal()
    """The shown picture can be drawn."""
    refused = Signal(str)
    """One plain sentence for the person at the bench."""
    saved = Signal()
    ended = Signal()
    """All is saved, let go and stopped: the window may close."""
    sealed_asked = Signal(str)
    """A sealed job is to be opened; somebody has to ask for its passphrase."""
    jobs_made = Signal(tuple)
    """Numbers of jobs that were made beside this one."""

    def __init__(self, bench: Bench | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.bench = bench or Bench()
        self.bench.waits_for_work = True
        self.worker = Worker(self)
        self._layers: OrderedDict[tuple[str, int], PictureLayers] = OrderedDict()
        self._given_up: int | None = None
        self._hand_at_work = False
        self._reads_pictures = False
        self._read_timer = self._timer(_READ_AFTER_MS, self._read)
        self._settle_timer = self._timer(_SETTLE_AFTER_MS, self._settle)
        self._save_timer = self._timer(SAVE_AFTER_MS, self.save)
        self.saver = Saver(self)
        self._changed_at = 0.0
        self._asked: Saving | None = None
        self._end: Literal["", "saving", "leaving", "ended"] = ""
        self._leaves_unsaved: tuple[Bench, int] | None = None
        """A job whose failed save was told to its person, and the revision at which it was."""
        self._strip_of: Callable[[], tuple[StripSegment, ...]] | None = None
        self._strip: tuple[StripSegment, ...] = ()
        self._plan_of: Callable[[], TrialPlan] | None = None
        self._plan: TrialPlan | None = None
        self._said_save_error = ""
        self._keys: dict[tuple[str, int, KeySpec], int] = {}

    # ---- changes -------------------------------------------------------------------------------------------------

    def act(self, change: Callable[[], object]) -> bool:
        """Make a change; False, with the reason announced, where it was refused."""
        if self.ending:  # what is changed now would not be saved any more
            return False
        try:
            change()
        except Refusal as refusal:
            self.refused.emit(refusal.sentence)
            self.changed.emit()
            return False
        self.after_change()
        return True

    def after_change(self) -> None:
        """Announce a change, read again what it made stale, and save."""
        self._given_up = None
        self._look()
        self._schedule()
        self._count()
        self.changed.emit()

    def others(self) -> tuple[tuple[int, BenchPicture], ...]:
        """The pictures to show beside the one that is worked on: (index in the job, picture)."""
        state = self.bench.state
        return tuple((at, picture) for at, picture in enumerate(state.pictures) if at != state.current)[:_BESIDE]

    @property
    def keys_seen(self) -> int:
        """How many keys the shown picture shows; 0 while that is not known."""
        return 0 if (key := self._counted_by()) is None else self._keys.get(key, 0)

    def split_keys(self) -> None:
        """Make a job of each further key of the shown picture, and keep them beside this one."""
        made: list[Bench] = []
        if not self.act(lambda: made.extend(self.bench.jobs_for_keys(self.keys_seen))):
            return

        def keep(progress: Callable[[float, str], None], cancelled: Callable[[], bool]) -> tuple[str, ...]:
            for bench in made:
                bench.save()
                bench.close()
            return tuple(bench.state.number for bench in made)

        self.worker.start("split", keep, self._split, self._failed)

    def undo(self) -> None:
        """Take the last change back."""
        if not self.ending and self.bench.undo():
            self.after_change()

    def redo(self) -> None:
        """Bring it again."""
        if not self.ending and self.bench.redo():
            self.after_change()

    def replace_bench(self, bench: Bench) -> None:
        """Put another job on the bench, after the present one is saved.

        Where that fails the present job stays, once: the reason is told, and the second time it is left unsaved.
        """
        self.save()
        self.saver.do(lambda: None, lambda _nothing: self._replace(bench), self._failed)
        self.saver.finish(PATIENCE_S)

    # ---- opening -------------------------------------------------------------------------------------------------

    def open(self, source: str | Path | bytes, *, name: str | None = None, page: int = 1) -> None:
        """Open a picture (a file, or the bytes of one) or a job folder."""
        if not isinstance(source, bytes):
            path = Path(source)
            folder = path.parent if path.name == "job.json" else path
            if folder.is_dir():
                self.start_bench(lambda: Bench.open_job(folder))
                return
            if is_sealed(path):
                self.sealed_asked.emit(str(path))
                return

        def load(progress: Callable[[float, str], None], cancelled: Callable[[], bool]) -> tuple[LoadedPicture, ...]:
            progress(0.1, "opening")
            return (load_picture(source, name=name, page=page),)

        self.worker.start("open", load, self._opened, self._failed)

    def open_pictures(self, files: Sequence[str | Path]) -> None:
        """Open several pictures of one key, in their order; where one cannot be opened none is."""

        def load(progress: Callable[[float, str], None], cancelled: Callable[[], bool]) -> tuple[LoadedPicture, ...]:
            loaded = []
            for index, file in enumerate(files):
                progress(index / len(files), "opening")
                loaded.append(load_picture(file))
            return tuple(loaded)

        self.worker.start("open", load, self._opened, self._failed)

    def start_bench(self, make: Callable[[], Bench]) -> None:
        """Put a job on the bench that is made off this thread, after what is being saved: it may be the same job."""
        self.save()
        before = self.saver.waits_for

        def begin(progress: Callable[[float, str], None], cancelled: Callable[[], bool]) -> Bench:
            wait(before)
            return make()

        self.worker.start("open", begin, self.replace_bench, self._failed)

    def layers(self, picture: BenchPicture | None = None) -> PictureLayers | None:
        """A picture of the job, or the one that is shown, for the painter; None until it is ready."""
        wanted = picture or self.bench.state.picture
        return None if wanted is None else self._layers.get(_layer_key(wanted))

    @property
    def strip(self) -> tuple[StripSegment, ...]:
        """The code strip of the shown picture; empty until it is made, off this thread."""
        task = self.bench.strip_task()
        if task is None:  # while a new reading is under way the last strip stays in sight
            return self._strip if self.bench.decoding is not None else ()
        if self._strip and not (self.bench.is_settled or self.given_up):  # nor is one made at every step of a drag
            return self._strip
        if self._strip_of is None or not _same_task(self._strip_of, task):
            self._strip_of = task
            self.worker.start("strip", lambda progress, cancelled: task(), self._strip_done, self._failed)
        return self._strip

    @property
    def trial_plan(self) -> TrialPlan | None:
        """In which order to cut and try; None until it is made, off this thread, once somebody asks."""
        task = self.bench.trials_task()
        if task is None:
            return None
        if self._plan_of is None or not _same_task(self._plan_of, task):
            self._plan_of, self._plan = task, None
            self.worker.start("plan", lambda progress, cancelled: task(), self._plan_done, self._failed)
        return self._plan

    # ---- reading -------------------------------------------------------------------------------------------------

    @property
    def reading_now(self) -> bool:
        """Whether a reading is under way or about to be."""
        return self.worker.busy("read") or self._read_timer.isActive()

    @property
    def reading_pictures(self) -> bool:
        """Whether a picture is being read or about to be; decoding alone is over before one could look away."""
        return self._read_timer.isActive() or (self.worker.busy("read") and self._reads_pictures)

    def give_up(self) -> None:
        """Stop reading until something changes."""
        self._given_up = self.bench.revision
        self._read_timer.stop()
        self._settle_timer.stop()
        for kind in ("read", "settle", "open", "cut key"):
            self.worker.cancel(kind)
        self.changed.emit()

    def read_again(self) -> None:
        """Read after the person gave up."""
        self._given_up = None
        self._schedule()
        self.changed.emit()

    def wait_for_hand(self, at_work: bool) -> None:
        """Read nothing while a hand sets one mark after the other: the picture would turn under it."""
        if at_work != self._hand_at_work:
            self._hand_at_work = at_work
            self._schedule()

    @property
    def given_up(self) -> bool:
        """Whether the person stopped the reading of the job as it stands."""
        return self._given_up == self.bench.revision

    def failed(self, error: BaseException) -> None:
        """Say why a piece of work gave nothing: in its own words where it refused."""
        self._failed(error)

    # ---- keeping -------------------------------------------------------------------------------------------------

    def save(self) -> None:
        """Save what is not saved, beside the window; nothing where nothing was begun."""
        self._save_timer.stop()
        bench = self.bench
        if not bench.dirty or not (bench.state.pictures or bench.home):
            return
        saving = bench.saving()
        if self._asked is not None and self._asked.state is saving.state and self._asked.key == saving.key:
            return
        self._asked = saving
        self.saver.do(saving.run, partial(self._saved, bench, saving), self._failed)

    def save_now(self) -> None:
        """The same, and wait until it is done."""
        self.save()
        self.saver.finish()

    def end(self, patience_s: float = 0.0) -> bool:
        """Save, let the job go and end the threads; True once all that is done.

        Where it takes longer than ``patience_s``, :attr:`ended` comes later.  A job that cannot be saved stays, once:
        the reason is told, and ending a second time leaves it unsaved.
        """
        until = time.monotonic() + patience_s
        if self._end == "":
            self._end = "saving"
            self._read_timer.stop()
            self._settle_timer.stop()
            self.save()
            self.saver.do(lambda: None, lambda _nothing: self._leave(), self._failed)
        while self._end in ("saving", "leaving") and self.saver.finish(max(0.0, until - time.monotonic())):
            continue
        return self._end == "ended"

    @property
    def ending(self) -> bool:
        """Whether the job is on its way out."""
        return self._end in ("saving", "leaving")

    def close(self) -> None:
        """End, unsaved where it must be, and wait for it."""
        while not self.end(3600.0):
            continue

    # ---- within --------------------------------------------------------------------------------------------------

    def _saved(self, bench: Bench, saving: Saving, saved: Saved) -> None:
        if self._asked is saving:
            self._asked = None
        bench.take_saved(saved)
        if bench.save_error and bench.save_error != self._said_save_error:
            self.refused.emit(bench.save_error)
        self._said_save_error = bench.save_error
        self.saved.emit()

    def _may_leave(self) -> bool:
        """Whether the job on the bench is saved, or its person was told that it is not and asked again."""
        bench = self.bench
        if not (bench.save_error and bench.dirty) or self._leaves_unsaved == (bench, bench.revision):
            return True
        self._leaves_unsaved = bench, bench.revision
        self.refused.emit(
            self.tr("{0} Do the same once more to leave the job without saving it.").format(said(bench.save_error))
        )
        return False

    def _replace(self, bench: Bench) -> None:
        if not self._may_leave():
            if bench.home != self.bench.home:
                self.saver.do(bench.close_task(), lambda _nothing: None, self._not_let_go)
            return
        self.worker.cancel("read")
        self.worker.cancel("settle")
        if self.bench.home != bench.home:
            self.saver.do(self.bench.close_task(), lambda _nothing: None, self._not_let_go)
        self.bench = bench
        bench.waits_for_work = True
        self.job_replaced.emit()
        if bench.problems:
            self.refused.emit(" ".join(bench.problems))
        self.after_change()

    def _leave(self) -> None:
        bench = self.bench
        if not self._may_leave():
            self._end = ""
            self._schedule()
            self.changed.emit()
            return
        self._end = "leaving"
        self._save_timer.stop()
        self.saver.do(bench.close_task(), lambda _nothing: None, self._not_let_go)
        self.saver.do(self.worker.stop(), lambda _nothing: self._ended(), self._failed)

    def _ended(self) -> None:
        self._end = "ended"
        self.worker.close()
        self.saver.close()
        self.ended.emit()

    def _not_let_go(self, error: BaseException) -> None:
        """A sealed job that cannot be sealed whole now keeps its last autosave."""
        code = error.code if isinstance(error, Refusal) else type(error).__name__
        _log.warning("a job could not be closed (%s)", code)

    def _schedule(self) -> None:
        if self._end:
            return
        work = None if self.given_up or self._hand_at_work else self.bench.work()
        self._settle_timer.stop()
        self.worker.cancel("settle")
        if work is not None and work.quick:  # a hold, or a mark moved a little: done within a frame or little more
            self._read_timer.stop()
            self._read()
        elif work is not None:
            self._read_timer.start()
        else:
            self._read_timer.stop()
            self.worker.cancel("read")
            if not (self.given_up or self._hand_at_work) and self.bench.settling() is not None:
                self._settle_timer.start()
        if self.bench.dirty:
            now = time.monotonic()
            if not self._save_timer.isActive():
                self._changed_at = now
            if not self._save_timer.isActive() or now - self._changed_at < SAVE_WITHIN_S:
                self._save_timer.start()

    def _read(self) -> None:
        work = self.bench.work()
        if work is not None:
            self._reads_pictures = not work.quick
            self.worker.start("read", work.run, self._read_done, self._failed)
            self.changed.emit()

    def _settle(self) -> None:
        work = None if self._end else self.bench.settling()
        if work is not None:
            self.worker.start("settle", work.run, self._read_done, self._failed)

    def _read_done(self, result: WorkResult) -> None:
        self.bench.take(result)
        self._schedule()
        self._count()
        self.changed.emit()

    def _strip_done(self, segments: tuple[StripSegment, ...]) -> None:
        self._strip = segments
        self.changed.emit()

    def _plan_done(self, plan: TrialPlan) -> None:
        self._plan = plan
        self.changed.emit()

    def _opened(self, loaded: tuple[LoadedPicture, ...]) -> None:
        for one in loaded:
            self.act(partial(self.bench.add_picture, one))

    def _split(self, numbers: tuple[str, ...]) -> None:
        self.jobs_made.emit(numbers)

    def _failed(self, error: BaseException) -> None:
        if isinstance(error, Refusal):
            self.refused.emit(error.sentence)
        else:
            _log.error("work failed", exc_info=error)
            self.refused.emit(
                self.tr("Something went wrong in the program ({0}); your job is as it was.").format(
                    type(error).__name__
                )
            )
            self._given_up = self.bench.revision
        self.changed.emit()

    def _look(self) -> None:
        """Make the shown picture ready for the painter."""
        picture = self.bench.state.picture
        if picture is None or _layer_key(picture) in self._layers:
            return
        self._make_layers(picture)

    def _make_layers(self, picture: BenchPicture) -> None:
        key, rgb = _layer_key(picture), picture.picture.rgb

        def done(layers: PictureLayers) -> None:
            self._layers[key] = layers
            while len(self._layers) > _LAYERS_KEPT:
                self._layers.popitem(last=False)
            self._look_beside()
            self.picture_ready.emit()

        self.worker.start("look", lambda progress, cancelled: make_layers(rgb), done, self._failed)

    def _look_beside(self) -> None:
        """The pictures beside the one that is shown, one after the other."""
        for _, picture in self.others():
            if _layer_key(picture) not in self._layers and not self.worker.busy("look"):
                self._make_layers(picture)

    def _counted_by(self) -> tuple[str, int, KeySpec] | None:
        picture, spec = self.bench.state.picture, self.bench.state.spec
        return None if picture is None or spec is None else (picture.sha256, picture.page, spec)

    def _count(self) -> None:
        """See how many keys the shown picture has, once for each picture and table."""
        picture, key = self.bench.state.picture, self._counted_by()
        if picture is None or key is None or key in self._keys or self.worker.busy("count") or self.reading_now:
            return
        spec = key[2]
        seen, reference = picture.picture, picture.reference

        def done(keys: int) -> None:
            self._keys[key] = keys
            self.changed.emit()

        self.worker.start("count", lambda progress, cancelled: count_keys(seen, spec, reference), done, self._failed)

    def _timer(self, milliseconds: int, then: Callable[[], None]) -> QTimer:
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setInterval(milliseconds)
        timer.timeout.connect(then)
        return timer


def _same_task(one: Callable[[], object], two: Callable[[], object]) -> bool:
    """Whether two tasks would make the same: one decoder, one picture."""
    return (
        isinstance(one, partial)
        and isinstance(two, partial)
        and (one.func, one.args, one.keywords) == (two.func, two.args, two.keywords)
    )


def _layer_key(picture: BenchPicture) -> tuple[str, int]:
    return picture.sha256, picture.page
