"""Keeping the job that lies on the bench: its lock stays young, its reminder is shown, sealed jobs open and close."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtWidgets import QDialog, QFileDialog, QMessageBox, QWidget

from app.bench import Bench
from app.bench_record import file_stem
from app.bench_sealed import SUFFIX, is_sealed
from app.folders import jobs_folder, made
from app.window.jobs_dialog import JobsDialog
from app.window.keep_dialog import KeepUntilDialog
from app.window.passphrase import PassphraseDialog
from app.window.session import Session
from keycore.joblock import REFRESH_EVERY_S
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench_sealed import SealedPlace


class Keeper(QObject):
    """The window's part in keeping a job."""

    said = Signal(str)
    """A sentence that the person should see: a lost lock, a refusal, a reminder."""
    done = Signal(str)
    """A sentence about what was done."""

    def __init__(self, session: Session, window: QWidget) -> None:
        super().__init__(window)
        self._session, self._window = session, window
        self._said_lost = ""
        self.clock = QTimer(self)
        self.clock.setInterval(int(REFRESH_EVERY_S * 1000))
        self.clock.timeout.connect(self.refresh_lock)
        self.clock.start()
        session.job_replaced.connect(self._remind)
        session.sealed_asked.connect(self.open_sealed)

    def refresh_lock(self) -> None:
        """Show other benches that this one is alive; say once where the job is another's by now."""
        lost = self._session.bench.refresh_lock()
        if lost and lost != self._said_lost:
            self.said.emit(lost)
        self._said_lost = lost

    def ask_sealed(self) -> None:
        """Let the person pick a sealed job."""
        name = self.tr("Sealed jobs (*{0})").format(SUFFIX)
        self._dialog(self.tr("Open a sealed job"), self.open_sealed, filters=name)

    def open_sealed(self, file: str) -> None:
        """Ask for the passphrase and lay the job on the bench."""
        path = Path(file)
        if not is_sealed(path):
            self.said.emit(self.tr("{0} is not a sealed job.").format(path.name))
            return
        dialog = PassphraseDialog(
            self.tr("Open a sealed job"),
            self.tr("{0} opens with its passphrase. It takes a second.").format(path.name),
            parent=self._window,
        )
        dialog.given.connect(lambda passphrase: self._session.start_bench(lambda: Bench.open_sealed(path, passphrase)))
        self._show(dialog)

    def ask_seal(self) -> None:
        """Seal the job on the bench into a file of the person's choice."""
        bench = self._session.bench
        if bench.sealed is not None:
            self.said.emit(self.tr("This job is sealed already."))
            return
        name = made(jobs_folder()) / f"{file_stem(bench.state.number)}{SUFFIX}"
        self._dialog(self.tr("Seal the job into which file?"), self._ask_twice, save_as=str(name))

    def seal_into(self, file: Path, passphrase: str) -> None:
        """Seal the job off this thread, then go on in the sealed file."""
        bench = self._session.bench
        try:
            seal = bench.seal_task(file, passphrase)
        except Refusal as refusal:
            self.said.emit(refusal.sentence)
            return

        def sealed(place: SealedPlace) -> None:
            if self._session.bench is not bench:  # another job lies on the bench by now; that one is sealed, and kept
                place.close()
                return
            left: list[str] = []
            self._session.saver.finish()  # or a save under way would lay the job in the clear again
            if self._session.act(lambda: left.extend(bench.move_into(place))):
                self.done.emit(self.tr("Sealed into {0}; nothing of it is kept in the clear.").format(file.name))
                if left:
                    self.said.emit(self.tr("Left in the job's old folder: {0}.").format(", ".join(left)))

        self._session.worker.start("seal", lambda progress, cancelled: seal(), sealed, self._session.failed)

    def ask_keep_until(self) -> KeepUntilDialog:
        """Let the person say when this record is to be looked at again."""
        bench = self._session.bench
        dialog = KeepUntilDialog(bench.state.keep_until, self._window)
        dialog.given.connect(lambda day: self._session.act(lambda: bench.set_keep_until(day)))
        self._show(dialog)
        return dialog

    def ask_forget(self) -> QMessageBox:
        """Ask whether all that is kept of this job is to be removed for good."""
        bench = self._session.bench
        box = QMessageBox(self._window)
        box.setIcon(QMessageBox.Icon.Warning)
        box.setWindowTitle(self.tr("Forget this job"))
        box.setText(
            self.tr(
                "Remove job {0} for good: its record, pictures, autosave and lines in the log? Papers and exports in "
                "its folder are left and named. What was printed, sent or backed up is not reached."
            ).format(bench.state.number)
        )
        forget = box.addButton(self.tr("Forget it"), QMessageBox.ButtonRole.DestructiveRole)
        box.setDefaultButton(box.addButton(QMessageBox.StandardButton.Cancel))
        forget.clicked.connect(self.forget)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.open()
        return box

    def forget(self) -> None:
        """Remove all that is kept of the job, and lay an empty one on the bench."""
        bench = self._session.bench
        number = bench.state.number
        self._session.saver.finish()
        try:
            left = bench.forget()
        except Refusal as refusal:
            self.said.emit(refusal.sentence)
            return
        self._session.replace_bench(Bench())
        self.done.emit(self.tr("Job {0} is forgotten.").format(number))
        if left:
            self.said.emit(self.tr("Left in the job's old folder: {0}.").format(", ".join(left)))

    def show_jobs(self) -> JobsDialog:
        """Show the jobs of a folder."""
        dialog = JobsDialog(self._window)
        dialog.chosen.connect(self._session.open)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.show()
        return dialog

    def _ask_twice(self, file: str) -> None:
        path = Path(file if file.endswith(SUFFIX) else f"{file}{SUFFIX}")
        dialog = PassphraseDialog(
            self.tr("Seal the job"),
            self.tr(
                "Four or five unrelated words are good. A forgotten passphrase cannot be recovered by anybody. The "
                "job's folder in the clear is taken away afterwards."
            ),
            twice=True,
            parent=self._window,
        )
        dialog.given.connect(lambda passphrase: self.seal_into(path, passphrase))
        self._show(dialog)

    def _remind(self) -> None:
        sentence = self._session.bench.reminder
        if sentence:
            self.said.emit(sentence)

    def _dialog(self, title: str, then: Callable[[str], Any], *, filters: str = "", save_as: str = "") -> None:
        dialog = QFileDialog(self._window, title, save_as, filters)
        if save_as:
            dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.fileSelected.connect(then)
        self._show(dialog)

    def _show(self, dialog: QDialog) -> None:
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.open()
