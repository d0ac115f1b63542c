"""The trial plan: in which order to cut and try candidates, and what each trial gave."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QListWidgetItem, QSizePolicy, QVBoxLayout, QWidget

from app.window.parts import button, plain_list, words
from app.window.session import Session
from app.window.units import LengthFormat
from keycore.codes import format_code
from keycore.job import TrialDone

if TYPE_CHECKING:
    from keycore.trials import TrialPlan, TrialStep


class TrialPlanPart(QWidget):
    """A list of trials; the next one is chosen, and two buttons say what it gave."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.format = LengthFormat()
        self._shown: TrialPlan | None = None
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(4)
        box.addWidget(words(self.tr("Trial plan: cut and try in this order"), "heading"))
        self.standing = words("", "quiet")
        box.addWidget(self.standing)
        self.list = plain_list(self.tr("Trials in their order"))
        self.list.setMinimumHeight(90)
        self.list.setMaximumHeight(220)
        self.list.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)  # the buttons come first
        self.list.setWordWrap(True)
        self.list.currentRowChanged.connect(self._show_buttons)
        box.addWidget(self.list, 1)
        row = QHBoxLayout()
        self.opens = button(self.tr("It opens"), lambda: self._tried(True))
        self.stays = button(self.tr("It does not open"), lambda: self._tried(False))
        row.addWidget(self.opens)
        row.addWidget(self.stays)
        box.addLayout(row)

    def refresh(self) -> None:
        """Show the plan, and what has been tried."""
        session = self.session
        plan = session.trial_plan
        tried = {trial.code: trial for trial in session.bench.state.trials}
        self.list.blockSignals(True)
        self.list.clear()
        self._shown = plan
        if plan is None:
            waits = session.worker.busy("plan") or session.reading_now
            self.standing.setText(
                self.tr("Looking for the order that spends the fewest blanks.")
                if waits
                else self.tr("The plan stands here once there is a code.")
            )
        else:
            self.standing.setText(
                self.tr("Blanks: {0} on average, {2} at most. Trials: {1} on average.").format(
                    self.format.number(plan.expected_blanks, 2),
                    self.format.number(plan.expected_trials, 1),
                    plan.blanks,
                )
            )
            following = None
            for row, step in enumerate(plan.steps):
                trial = tried.get(step.code)
                item = QListWidgetItem(self._line(step, plan, trial))
                item.setData(Qt.ItemDataRole.UserRole, row)
                self.list.addItem(item)
                if trial is None and following is None:
                    following = row
            if following is not None and not any(trial.opened for trial in tried.values()):
                self.list.setCurrentRow(following)
        self.list.blockSignals(False)
        self._show_buttons()

    def _line(self, step: TrialStep, plan: TrialPlan, trial: TrialDone | None) -> str:
        code = format_code(step.code, plan.spec)
        if step.fresh:
            does = self.tr("blank {0}: cut {1}").format(step.blank, code)
        elif len(step.cut) == len(step.code):
            does = self.tr("blank {0}: deepen all cuts to {1}").format(step.blank, code)
        else:
            does = self.tr("blank {0}: deepen cut {1} to {2}").format(step.blank, ", ".join(map(str, step.cut)), code)
        if trial is None:
            gave = self.tr("opens with {0}").format(self.format.probability(step.probability))
        elif trial.opened:
            gave = self.tr("opened")
        else:
            gave = self.tr("tried, did not open")
        return f"{step.number}. {does}\n    {gave}"

    def _step(self) -> TrialStep | None:
        item = self.list.currentItem()
        return None if item is None or self._shown is None else self._shown.steps[item.data(Qt.ItemDataRole.UserRole)]

    def _show_buttons(self) -> None:
        step = self._step()
        free = step is not None and all(trial.code != step.code for trial in self.session.bench.state.trials)
        self.opens.setEnabled(free)
        self.stays.setEnabled(free)

    def _tried(self, opened: bool) -> None:
        step, bench = self._step(), self.session.bench
        if step is None:
            return
        now = datetime.now().astimezone().replace(second=0, microsecond=0)
        trial = TrialDone(blank=step.blank, code=step.code, opened=opened, tried_on=now)
        self.session.act(lambda: bench.add_trial(trial))
