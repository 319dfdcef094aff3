"""The canal step: trace canals, name them, choose what they follow."""

from __future__ import annotations

from dataclasses import replace

from qtpy.QtWidgets import QComboBox, QMenu

from curvometer import CanalName, Structure
from curvometer_napari import case as edits
from curvometer_napari.naming import WAYS, free_names
from curvometer_napari.panel.box import StepBox
from curvometer_napari.panel.canal_list import CanalList
from curvometer_napari.panel.controls import Button, ChoiceField, ElasticButton, caption, steady
from curvometer_napari.panel.rows import Row
from curvometer_napari.session import Session, Tool
from curvometer_napari.steps import StepState, canal_step

FOLLOWS = {Structure.CANAL: "canal", Structure.INSTRUMENT: "instrument"}
_FOLLOWS_TIP = "A canal is dark; a file or a filling in it is bright"


class CanalBox(StepBox):
    """Choose a code, trace from the orifice to the foramen, accept; rename, delete, undo."""

    def __init__(self, session: Session) -> None:
        super().__init__(session, "Canal")
        self._free: list[CanalName] = []
        self.code, self.structure = _code_field(), _structure_field()
        self.trace = Button("Trace", "Click the orifice, then the foramen", self._trace, action="trace")
        self.hand = Button(
            "Next leg by hand",
            "Draw the next leg by hand, as a straight line, where nothing can be seen",
            self._by_hand,
            action="hand",
            toggle=True,
        )
        self.accept = Button("Accept", "Finish this canal", session.accept, action="accept")
        self.back = Button("Take back", "Take the last click back", session.take_back, action="take_back")
        self.cancel = Button(
            "Cancel", "Give this canal up; undo brings it back", session.cancel, action="cancel"
        )
        self.while_tracing = Row(self.accept, self.back, self.cancel, self.hand)
        self.canals = CanalList(session)
        self.follows = _structure_field()
        self.follows.activated.connect(self._follow)
        self.rename = Button("Rename", "Give the selected canal another code", lambda: None)
        self.rename.setMenu(self._rename_menu())
        self.delete = Button(
            "Delete", "Delete the selected canal; undo brings it back", self._delete, action="delete_canal"
        )
        self.selected = caption()
        self.of_selected = Row(self.selected, (self.follows, 1), self.rename, self.delete)
        self.undo = ElasticButton("Undo", "Take the last step back", session.undo, action="undo")
        self.redo = ElasticButton("Redo", "Do again what was taken back", session.redo, action="redo")
        self._lay_out()

    def _lay_out(self) -> None:
        new = Row((self.code, 5), (self.structure, 3), self.trace)
        history = Row((self.undo, 3), (self.redo, 2))
        for widget in (new, self.while_tracing, self.canals, self.of_selected, history):
            self.body.addWidget(widget)

    def _rename_menu(self) -> QMenu:
        menu = QMenu(self.rename)

        def fill() -> None:
            menu.clear()
            for name in free_names({tracing.name for tracing in self.session.case.tracings}):
                menu.addAction(code_words(name)).triggered.connect(lambda _=False, n=name: self.rename_to(n))

        menu.aboutToShow.connect(fill)
        return menu

    def step(self) -> StepState:
        """How far the canals are."""
        return canal_step(self.session)

    def update_body(self) -> None:
        """Show the canals, and the buttons of what is going on."""
        session, case = self.session, self.session.case
        draft, selected = case.draft, case.current
        tracing = session.tool is Tool.TRACE and draft is not None
        self._show_codes(free_names({t.name for t in case.tracings}))
        ready = session.radiograph is not None and not tracing and bool(self._free)
        for widget in (self.code, self.structure, self.trace):
            widget.setEnabled(ready)
        self.while_tracing.setVisible(tracing)
        self.hand.setChecked(session.hand)
        self.hand.setEnabled(draft is not None and bool(draft.anchors_rc))
        self.back.setEnabled(draft is not None and bool(draft.anchors_rc))
        self.accept.setEnabled(draft is not None and len(draft.anchors_rc) > 1)
        self.canals.show_canals()
        self.of_selected.setVisible(selected is not None)
        if selected is not None:
            self.follows.setCurrentIndex(list(FOLLOWS).index(selected.structure))
            self.selected.setText(f"{selected.name}:")
            self.follows.setAccessibleName(f"{selected.name} follows")
        self._show_history()

    def _show_codes(self, free: list[CanalName]) -> None:
        if free == self._free:
            return
        chosen = self.code.currentData()
        self._free = free
        self.code.clear()
        for name in free:
            self.code.addItem(code_words(name), name)
        self.code.widen_list()
        self.code.setCurrentIndex(max(free.index(chosen) if chosen in free else 0, 0))

    def _show_history(self) -> None:
        for button, word, what in (
            (self.undo, "Undo", self.session.undo_text),
            (self.redo, "Redo", self.session.redo_text),
        ):
            button.setEnabled(bool(what))
            button.show_text(f"{word}: {what}" if what else word)

    def choose_code(self, name: CanalName) -> None:
        """Let the canal that is traced next have a name, unless one has it already."""
        index = self.code.findData(name)
        if index >= 0:
            self.code.setCurrentIndex(index)

    def next_trace(self) -> tuple[CanalName, Structure]:
        """Name and structure of the canal to be traced next, as they are chosen here."""
        name = self.code.currentData()
        chosen = CanalName.SINGLE if name is None else CanalName(name)
        return chosen, list(FOLLOWS)[self.structure.currentIndex()]

    def _trace(self) -> None:
        self.session.start_tracing(*self.next_trace())

    def _by_hand(self) -> None:
        self.session.choose(Tool.TRACE, hand=not self.session.hand)
        self.refresh()

    def _follow(self, index: int) -> None:
        selected = self.session.case.current
        structure = list(FOLLOWS)[index]
        if selected is not None and structure is not selected.structure:
            changed = edits.with_tracing(self.session.case, replace(selected, structure=structure))
            self.session.do(changed, f"{selected.name} follows the {FOLLOWS[structure]}")

    def rename_to(self, name: CanalName) -> None:
        """Give the selected canal another code."""
        selected = self.session.case.selected
        if selected is not None:
            self.session.do(edits.renamed(self.session.case, selected, name), f"rename {selected} to {name}")

    def _delete(self) -> None:
        case = self.session.case
        if case.current is None:
            return
        if not case.current.accepted:
            self.session.cancel()
            return
        name = case.current.name
        self.session.do(edits.without_tracing(case, name), f"delete canal {name}")


def code_words(name: CanalName) -> str:
    """A canal's code with its meaning."""
    return WAYS[name] if name is CanalName.SINGLE else f"{name} {WAYS[name]}"


def _code_field() -> ChoiceField:
    field = ChoiceField()
    _shrink(field)
    steady(field, name="Name of the next canal", tip="Name of the canal to be traced next")
    return field


def _structure_field() -> ChoiceField:
    field = ChoiceField()
    field.addItems(list(FOLLOWS.values()))
    _shrink(field)
    steady(field, name="What the tracing follows", tip=_FOLLOWS_TIP)
    return field


def _shrink(field: QComboBox) -> None:
    field.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    field.setMinimumContentsLength(6)
