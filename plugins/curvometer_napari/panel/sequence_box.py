"""The sequence step: what was found, a plan, and the treatment at the chair, in the order in which they are needed."""

from __future__ import annotations

from pathlib import Path

from curvometer import (
    CanalName,
    CurvometerError,
    Outcome,
    SequencePlan,
    load_treatment,
    plan_in_force,
    save_treatment,
)
from curvometer_napari.case import Case
from curvometer_napari.chairside import ChairState, Planned, begun, taken_up, told
from curvometer_napari.kept_logs import KeptLogs
from curvometer_napari.log_words import steps_done
from curvometer_napari.panel import saving
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.chair import Chair, ChairButton
from curvometer_napari.panel.controls import Button, show_or_hide
from curvometer_napari.panel.found_fields import FoundFields
from curvometer_napari.panel.log_view import LogView
from curvometer_napari.panel.plan_view import PlanView
from curvometer_napari.panel.rows import Row
from curvometer_napari.panel.text import Words
from curvometer_napari.plan_words import advice_words, plan_name, refused_words
from curvometer_napari.planning import Ask, Now, Planner, assumed_words, missing_words
from curvometer_napari.sequence_step import sequence_step
from curvometer_napari.session import Session
from curvometer_napari.steps import StepState

UNDER_WAY = (ChairState.RUNNING, ChairState.RE_PLAN, ChairState.ENDED)
"""States in which the log speaks for the request in force."""


class SequenceBox(StepBox):
    """State what hand files reached, plan, begin, and say how each step ended.

    Parameters
    ----------
    session
        The case at work.
    ask
        Makes an answer; all installed recommenders when None.
    """

    def __init__(self, session: Session, *, ask: Ask | None = None) -> None:
        super().__init__(session, "Sequence")
        self.logs = KeptLogs()
        options = {} if ask is None else {"ask": ask}
        self.planner = Planner(session, self.logs, self.refresh, **options)
        self.found = FoundFields(session)
        self.show_found = Button(
            "What was stated",
            "Show what was stated before this log began; a change of it needs a new plan",
            self.refresh,
            toggle=True,
        )
        self.assumed, self.missing, self.advice = Words(), Words(), Words()
        self.plan = Button("Plan", "Ask every installed recommender for a plan", self.planner.plan)
        self.begin = ChairButton("Begin", "Begin a treatment log with the plan that is shown", self._begin)
        self.kept = Words()
        self.take_kept = Button(
            "Take up the kept logs", "Go on with this image's logs as they were left", self._take_kept
        )
        self.chair = Chair(self._tell)
        self.unsaved = Words()
        self.view = PlanView(self.refresh)
        self.refused = Words()
        self.log = LogView(self._save, self._open)
        self.presses = Row((self.plan, 1), (self.begin, 2))
        self._parts = (
            *(self.show_found, self.found, self.assumed, self.missing),
            *(self.kept, self.take_kept, self.chair, self.unsaved),
            *(self.advice, self.refused, self.presses, self.view, self.log),
        )
        for widget in self._parts:
            self.body.addWidget(widget)
        session.radiograph_changed.connect(self._open_image)
        self._open_image()

    def _open_image(self) -> None:
        """Turn to the image; work that is gone on with brings its logs along."""
        radiograph, case = self.session.radiograph, self.session.case
        self.planner.forget()
        self.logs.open_image("" if radiograph is None else radiograph.sha256, take_up=case != Case())

    def step(self) -> StepState:
        """How far the sequence is."""
        return self._step_of(self.planner.now())

    def _step_of(self, now: Now) -> StepState:
        return sequence_step(self.session, now, self.planner.planned(now), asking=self.planner.is_asking(now))

    def refresh(self) -> None:
        """Show state and body of one and the same moment."""
        now = self.planner.now()
        self.header.show_state(self._step_of(now))
        self._show(now)

    def update_body(self) -> None:
        """Show what may be shown for the selected canal."""
        self._show(self.planner.now())

    def _show(self, now: Now) -> None:
        if now.measuring:
            # For a moment: everything stays where it is and can be read, and nothing is offered.
            self.content.setEnabled(False)
            self.chair.hold("Wait: the canal is being measured anew.")
            return
        ready = now.name is not None and (now.measurement is not None or bool(now.treatments))
        self.content.setEnabled(ready)
        if ready:
            self._show_canal(now)
            return
        for part in self._parts:
            part.hide()

    def _show_canal(self, now: Now) -> None:
        state, planned = now.stand.state, self.planner.planned(now)
        self._show_found(now)
        missing = "" if now.request is None or state in UNDER_WAY else missing_words(now.request)
        show_or_hide(self.missing, " ".join(filter(None, (missing, now.remark))))
        waiting = () if now.name is None else self.logs.waiting(now.name)
        left = self.logs.left()
        show_or_hide(self.kept, _kept_words(now.name, len(waiting), left))
        self.take_kept.setVisible(bool(left))
        self.chair.setVisible(bool(now.treatments))
        self.chair.show_stand(now.stand)
        show_or_hide(self.unsaved, self.logs.unsaved if now.treatments else "")
        shown = self._show_plan(now, planned)
        self._show_buttons(now, planned, shown, kept=bool(waiting))
        self.presses.show()
        self.log.show()
        self.log.show_logs(now.treatments)

    def _show_found(self, now: Now) -> None:
        under_way = now.stand.state in UNDER_WAY
        self.show_found.setVisible(under_way)
        visible = now.name is not None and (not under_way or self.show_found.isChecked())
        self.found.setVisible(visible)
        self.found.show_canal(now.name)
        words = ""
        if now.measurement is not None and visible:
            words = assumed_words(now.measurement, self.found.working_length_mm(now.name))
        show_or_hide(self.assumed, now.problem or words)

    def _show_plan(self, now: Now, planned: Planned | None) -> SequencePlan | None:
        """Show the answer's plan, else the log's own; gives the one of the answer."""
        answer = None if planned is None else planned.answer
        chosen = self.view.offer(answer)
        show_or_hide(
            self.advice, "" if planned is None else "\n".join(advice_words(planned.answer, planned.request))
        )
        show_or_hide(self.refused, "" if answer is None else "\n".join(refused_words(answer)))
        if planned is not None:
            self.view.show_plan(chosen, planned.request, now.measurement)
        elif now.stand.offered is not None:
            newest, step = now.treatments[-1], now.stand.offered.plan_step
            plan = plan_in_force(newest.plan, newest.log)
            self.view.show_plan(plan, newest.request, now.measurement, done=steps_done(newest), now=step)
        else:  # a plan that is not to be carried out is not shown
            self.view.show_plan(None, None, None)
        return chosen

    def _show_buttons(
        self, now: Now, planned: Planned | None, plan: SequencePlan | None, *, kept: bool
    ) -> None:
        asking, state = self.planner.is_asking(now), now.stand.state
        self.plan.setEnabled(now.stand.ask is not None and not asking)
        self.plan.setVisible(state not in (ChairState.RUNNING, ChairState.ENDED))
        self.plan.setText("Planning ..." if asking else "Plan again" if planned or now.treatments else "Plan")
        words = ""
        if planned is not None and state is ChairState.RE_PLAN:
            words = "Write down: no new plan" if plan is None else f"Take up {plan_name(plan)}"
        elif planned is not None and plan is not None and now.stand.may_begin:
            words = (
                "Begin without the kept log"
                if kept
                else "Begin anew"
                if now.treatments
                else "Begin this plan"
            )
        self.begin.setVisible(bool(words))
        if words and words != self.begin.text():
            self.begin.setText(words)
            self.begin.setAccessibleName(words)
        self.begin.updateGeometry()

    def _begin(self) -> None:
        """Begin a log, or go on with the newest one, with the plan that is shown."""
        now = self.planner.now()
        planned = self.planner.planned(now)
        if planned is None or now.name is None:
            self.refresh()
            return
        plan = self.view.offer(planned.answer)
        try:
            if now.stand.state is ChairState.RE_PLAN:
                who = self.log.who.text().strip()
                new = taken_up(now.request, now.treatments, planned, plan, elsewhere=now.elsewhere, who=who)
                self.logs.go_on(now.name, new)
            elif plan is not None:
                new = begun(now.request, now.treatments, planned, plan, elsewhere=now.elsewhere)
                self.logs.add(now.name, new)
        except CurvometerError as error:
            self.session.told.emit(str(error))
        self.refresh()

    def _tell(self, outcome: Outcome, amount_mm: float | None) -> None:
        now = self.planner.now()
        if now.name is None:
            return
        who = self.log.who.text().strip()
        try:
            new = told(
                now.request,
                now.treatments,
                outcome,
                elsewhere=now.elsewhere,
                amount_mm=amount_mm,
                who=who,
            )
            self.logs.go_on(now.name, new)
            self.session.told.emit("")
        except CurvometerError as error:
            self.session.told.emit(str(error))
        self.refresh()

    def _take_kept(self) -> None:
        self.logs.take_all_up()
        self.refresh()

    def _save(self) -> None:
        now = self.planner.now()
        if now.name is None or not now.treatments:
            return
        proposed = str(Path(self.session.source).with_name(f"treatment_{now.name}.json"))
        path = saving.ask_where_to_save(self, title="Save the log", suffix="json", proposed=proposed)
        if not path:
            return
        try:
            save_treatment(now.treatments[-1], path, overwrite=True)
            self.session.told.emit("")
        except CurvometerError as error:
            self.session.told.emit(str(error))

    def _open(self) -> None:
        name = self.session.case.selected
        path = saving.ask_for_log(self) if name is not None else ""
        if not path or name is None or self.logs.treatments(name):
            return
        try:
            self.logs.add(name, load_treatment(path))
        except CurvometerError as error:
            self.session.told.emit(str(error))
        self.refresh()


def _kept_words(name: CanalName | None, count: int, left: tuple[CanalName, ...]) -> str:
    """What logs wait; the pieces that another canal's log used would count as fresh without it."""
    when = "kept on this computer when the image was open before: take"
    if count:
        logs = "A log of this canal was" if count == 1 else f"{count} logs of this canal were"
        return f"{logs} {when} it up, or a further log knows nothing of it."
    others = ", ".join(str(each) for each in left if each != name)
    return f"Logs of {others} were {when} them up, or what was used there counts as fresh." if others else ""
