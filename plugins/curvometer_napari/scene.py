"""What there is to draw over a radiograph, from a session: lines, marks and words; nothing here knows the viewer."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from curvometer import CanalMeasurement, CanalName, Radiograph, display_pixels
from curvometer_napari.case import PointRC, Tracing
from curvometer_napari.constructions import construction, cursor
from curvometer_napari.naming import DASHED, ORANGE, STYLES, VERMILION, YELLOW
from curvometer_napari.placing import Placing
from curvometer_napari.session import Session
from curvometer_napari.strokes import RGBA, FloatArray, Mark, Role, Stroke, Word, resampled, rgba, vectors

Part = tuple[FloatArray, RGBA]
"""(m, 2, 2) pieces of lines, and their colour."""

DIMMED = 0.45
"""Strength of the canals that are not selected."""
BESIDE_CONSTRUCTION = 0.55
"""Strength of the selected canal's line while a construction is drawn over it."""
BY_HAND = (2.0, 6.0)
"""Dots of a leg drawn by hand, in screen pixels."""
ANCHOR_REACH_PX, LINE_REACH_PX = 11.0, 8.0
"""How near a pointer must come to an anchor and to a line, in screen pixels."""
WORD_AWAY_PX = (22.0, 40.0, 58.0)
"""Distances of a word from what it names: the first that is free."""
LABEL_GAP_PX = 14.0
LETTER_PX, LINE_HEIGHT_PX = 4.9, 16.0
"""Half the width of a letter, and the height of a line of text, on the screen."""
LIVE_PIECES = 96
ROLE_COLOURS = {
    Role.FIRST_LINE: YELLOW,
    Role.SECOND_LINE: ORANGE,
    Role.ANGLE: YELLOW,
    Role.DISTANCE: YELLOW,
    Role.CIRCLE: ORANGE,
    Role.RADIUS: ORANGE,
    Role.MARK: YELLOW,
    Role.CURSOR: "#ffffff",
}
WHITE = "#ffffff"
FILE_COLOUR = VERMILION
SYMBOLS = {"orifice": "disc", "waypoint": "square", "foramen": "triangle_down", "file": "diamond"}


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What part of the world is on the screen.

    Attributes
    ----------
    placing
        From pixels to the world.
    camera_zoom
        Screen pixels per world unit.
    centre
        World position in the middle.
    size
        Height and width of the canvas in screen pixels.
    """

    placing: Placing
    camera_zoom: float
    centre: PointRC
    size: tuple[int, int]

    @property
    def zoom(self) -> float:
        """Screen pixels per column of the image."""
        return self.camera_zoom * self.placing.scale_rc[1]


class Same:
    """Two of these are equal when they hold the very same thing: a key for what cannot be compared."""

    def __init__(self, held: object) -> None:
        self.held = held

    def __eq__(self, other: object) -> bool:
        """Tell whether both hold the same object."""
        return isinstance(other, Same) and other.held is self.held

    def __hash__(self) -> int:
        """By identity."""
        return id(self.held)


class Scene:
    """Everything to draw for a session, as seen at one zoom.

    Attributes
    ----------
    seen
        Set by the canvas before it draws.
    crosshair_rc
        Where the keys would click, or None.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self.seen = Seen(placing=Placing(), camera_zoom=1.0, centre=(0.0, 0.0), size=(600, 800))
        self.crosshair_rc: PointRC | None = None
        self._lines: dict[CanalName, tuple[object, FloatArray]] = {}

    def forget(self) -> None:
        """Begin with another image."""
        self._lines.clear()
        self.crosshair_rc = None

    # --- lines -------------------------------------------------------------------------------------------

    def line_rc(self, name: CanalName) -> FloatArray:
        """(n, 2) a canal's line as it is drawn; the same array as long as it is the same line."""
        session, tracing = self._session, self._session.case.tracing(name)
        if tracing is None:
            return np.empty((0, 2))
        result = session.result(name) if session.is_fresh(name) else None
        legs = (tracing.anchors_rc, tracing.hand_legs, tracing.structure)
        key = (legs, Same(result), session.calibration)
        known = self._lines.get(name)
        if known is None or known[0] != key:
            known = (key, session.line_rc(name))
            self._lines[name] = known
        return known[1]

    def canal_parts(self) -> list[Part]:
        """Every canal in its colour and dashes, the selected one last and strongest."""
        case, parts = self._session.case, []
        strength = 1.0 if self._session.quantity is None else BESIDE_CONSTRUCTION
        for tracing in sorted(case.tracings, key=lambda t: t.name == case.selected):
            style = STYLES[tracing.name]
            colour = rgba(style.colour, strength if tracing.name == case.selected else DIMMED)
            for part, by_hand in self._legs(tracing):
                parts.append((self._pieces(part, BY_HAND if by_hand else style.dashes), colour))
        return parts

    def file_parts(self) -> list[Part]:
        """The files of known length, and the one that is being clicked."""
        case = self._session.case
        clicks = [item.clicks_rc for item in case.scale_objects] + [case.scale_draft_rc]
        return [
            (self._pieces(np.array(points), DASHED), rgba(FILE_COLOUR))
            for points in clicks
            if len(points) > 1
        ]

    def live_parts(self, path_rc: FloatArray) -> list[Part]:
        """The way to the pointer, always in the same number of pieces: a path of any length costs the same."""
        draft = self._session.case.draft
        if len(path_rc) < 2 or draft is None:
            return []
        points = resampled(path_rc, LIVE_PIECES + 1)
        pieces = np.stack([points[:-1], np.diff(points, axis=0)], axis=1)
        if self._session.hand:
            pieces = self._pieces(path_rc, BY_HAND)
        return [(pieces, rgba(STYLES[draft.name].colour))]

    def construction_parts(self, strokes: tuple[Stroke, ...]) -> list[Part]:
        """The construction, the plot's cursor and the crosshair."""
        parts = [(self._pieces(s.points_rc, s.dashes), rgba(ROLE_COLOURS[s.role])) for s in strokes]
        if self.crosshair_rc is not None:
            parts += [(self._pieces(arm, ()), rgba(WHITE)) for arm in self._arms(self.crosshair_rc)]
        return parts

    def strokes(self) -> tuple[Stroke, ...]:
        """The construction of the emphasised measure, and the plot's cursor."""
        session, measurement = self._session, self._measurement()
        strokes: tuple[Stroke, ...] = ()
        if measurement is None:
            return strokes
        aspect = self.seen.placing.aspect_ratio
        if session.quantity is not None:
            result = session.result(session.case.selected)
            centreline = None if result is None else result.centreline
            strokes = construction(session.quantity, measurement, centreline, aspect_ratio=aspect)
        if session.cursor_mm is not None:
            strokes += cursor(measurement, session.cursor_mm, aspect_ratio=aspect)
        return strokes

    def _pieces(self, points_rc: FloatArray, dashes: tuple[float, ...]) -> FloatArray:
        return vectors(points_rc, dashes, zoom=self.seen.zoom, aspect_ratio=self.seen.placing.aspect_ratio)

    def _legs(self, tracing: Tracing) -> list[tuple[FloatArray, bool]]:
        """The line in parts that are by hand and parts that are not."""
        line = self.line_rc(tracing.name)
        if not tracing.hand_legs or len(line) < 2:
            return [(line, False)]
        ends = pairwise(self._anchor_places(tracing, line))
        return [(line[a : b + 1], i in tracing.hand_legs) for i, (a, b) in enumerate(ends)]

    def _anchor_places(self, tracing: Tracing, line: FloatArray) -> list[int]:
        """Indices of the line's points nearest to the anchors, in order."""
        places = [0]
        for anchor in tracing.anchors_rc[1:-1]:
            rest = line[places[-1] :]
            places.append(places[-1] + int(np.hypot(*(rest - np.array(anchor)).T).argmin()))
        return [*places, len(line) - 1]

    def _measurement(self) -> CanalMeasurement | None:
        result = self._session.result(self._session.case.selected)
        return None if result is None else result.measurement

    def _arms(self, point_rc: PointRC) -> list[FloatArray]:
        """Four arms that leave the place itself free."""
        down, right = self.pixel_steps()
        return [
            np.array(point_rc) + np.array([5.0 * step, 18.0 * step]) for step in (down, -down, right, -right)
        ]

    def pixel_steps(self) -> tuple[FloatArray, FloatArray]:
        """One screen pixel down and one to the right, on the image."""
        placing, zoom = self.seen.placing, self.seen.zoom
        return placing.step_rc((1.0, 0.0)) / zoom, placing.step_rc((0.0, 1.0)) / zoom

    # --- marks and words ---------------------------------------------------------------------------------

    def marks(self) -> list[Mark]:
        """Clicks along files, and the anchors of the selected canal."""
        case, tracing = self._session.case, self._session.case.current
        files = [*(item.clicks_rc for item in case.scale_objects), case.scale_draft_rc]
        marks = [
            Mark(place_rc=place, symbol=SYMBOLS["file"], colour=FILE_COLOUR)
            for clicks in files
            for place in clicks
        ]
        if tracing is None:
            return marks
        last = len(tracing.anchors_rc) - 1
        for index, place in enumerate(tracing.anchors_rc):
            what = "orifice" if index == 0 else "foramen" if index == last else "waypoint"
            marks.append(Mark(place_rc=place, symbol=SYMBOLS[what], colour=STYLES[tracing.name].colour))
        return marks

    def words(self, strokes: tuple[Stroke, ...]) -> list[Word]:
        """Canal codes, lengths of files, the value of the emphasised measure; none over another."""
        case, words = self._session.case, list[Word]()
        for stroke in strokes:
            if stroke.label:
                words.append(self._label(stroke, strokes))
        for tracing in case.tracings:
            if tracing.anchors_rc:
                words.append(self._code(tracing, words))
        for item in case.scale_objects:
            tip, stop = np.array(item.clicks_rc[-1]), np.array(item.clicks_rc[0])
            words.append(self._outward(tip, tip - stop, f"{item.length_mm:g} mm", WHITE, words))
        return words

    def _code(self, tracing: Tracing, taken: list[Word]) -> Word:
        """The canal's code beyond the orifice, in line with the canal."""
        line, orifice = self.line_rc(tracing.name), np.array(tracing.anchors_rc[0])
        ahead = (
            line[min(len(line) // 10, len(line) - 1)] if len(line) > 1 else orifice + self.pixel_steps()[0]
        )
        colour = STYLES[tracing.name].colour
        return self._outward(orifice, orifice - ahead, str(tracing.name), colour, taken)

    def _outward(
        self, place: FloatArray, direction: FloatArray, text: str, colour: str, taken: list[Word]
    ) -> Word:
        """Put a word in a direction from a place, at the first distance at which it covers no other."""
        square = np.array([self.seen.placing.aspect_ratio, 1.0])
        step = direction / (float(np.hypot(*(direction * square))) or 1.0) / self.seen.zoom
        for distance in WORD_AWAY_PX:
            row, col = place + distance * step
            word = Word(place_rc=(float(row), float(col)), text=text, colour=colour)
            if not any(self._overlap(word, other) for other in taken):
                break
        return word

    def _overlap(self, one: Word, other: Word) -> bool:
        world = self.seen.placing.world(np.array([one.place_rc, other.place_rc]))
        down, right = np.abs(world[1] - world[0]) * self.seen.camera_zoom
        return bool(down < LINE_HEIGHT_PX and right < LETTER_PX * (len(one.text) + len(other.text)))

    def _label(self, stroke: Stroke, strokes: tuple[Stroke, ...]) -> Word:
        """The label beside the whole construction and the canal, level with its stroke, within the view."""
        seen, selected = self.seen, self._session.case.selected
        lines = [resampled(one.points_rc, 80) for one in strokes if one.role is not Role.CIRCLE]
        canal = np.empty((0, 2)) if selected is None else self.line_rc(selected)
        drawn = seen.placing.world(np.vstack([*lines, canal])) * seen.camera_zoom
        here = seen.placing.world(np.array(stroke.label_rc)) * seen.camera_zoom
        half = np.array([0.5 * LINE_HEIGHT_PX, LETTER_PX * len(stroke.label)])
        room = np.maximum(np.array(seen.size) / 2.0 - half - 8.0, 0.0)
        middle = np.array(seen.centre) * seen.camera_zoom
        spread = np.ptp(drawn, axis=0)
        # A canal that stands has room on its sides, one that lies above and below.
        axis = 1 if spread[0] >= spread[1] else 0
        beside = np.abs(drawn[:, 1 - axis] - here[1 - axis]) < half[1 - axis] + 0.5 * LINE_HEIGHT_PX
        reach = half[axis] + LABEL_GAP_PX
        level = drawn[beside, axis]
        sides = [level.max(initial=here[axis]) + reach, level.min(initial=here[axis]) - reach]
        if here[axis] < float(drawn[:, axis].mean()):
            sides.reverse()
        fits = [side for side in sides if abs(side - middle[axis]) <= room[axis]]
        place = here.copy()
        place[axis] = (fits or sides)[0]
        world = np.clip(place, middle - room, middle + room) / seen.camera_zoom
        row, col = (float(value) for value in seen.placing.pixels(world))
        return Word(place_rc=(row, col), text=stroke.label, colour=ROLE_COLOURS[stroke.role])

    # --- what lies under a place -------------------------------------------------------------------------

    def anchor_at(self, point_rc: PointRC) -> tuple[CanalName, int] | None:
        """The anchor under a place: one of the selected canal's, which are those that are drawn."""
        tracing = self._session.case.current
        if tracing is None or not tracing.anchors_rc:
            return None
        gaps = self._gaps(np.array(tracing.anchors_rc), point_rc)
        index = int(gaps.argmin())
        return (tracing.name, index) if gaps[index] <= ANCHOR_REACH_PX else None

    def leg_at(self, point_rc: PointRC) -> tuple[CanalName, int] | None:
        """The canal's line under a place, and which leg of it: leg i runs from anchor i to anchor i + 1."""
        case, best = self._session.case, LINE_REACH_PX
        found: tuple[CanalName, int] | None = None
        for tracing in sorted(case.tracings, key=lambda t: t.name != case.selected):
            line = self.line_rc(tracing.name)
            if len(line) < 2:
                continue
            gaps = self._gaps(line, point_rc)
            nearest = int(gaps.argmin())
            if gaps[nearest] < best:
                inner = self._anchor_places(tracing, line)[1:-1]
                best = float(gaps[nearest])
                found = (tracing.name, int(np.searchsorted(inner, nearest, side="right")))
        return found

    def _gaps(self, points_rc: FloatArray, point_rc: PointRC) -> FloatArray:
        """Distances on the screen, in its pixels."""
        square = np.array([self.seen.placing.aspect_ratio, 1.0])
        return np.asarray(np.hypot(*((points_rc - np.array(point_rc)) * square).T) * self.seen.zoom)


def grey_window(radiograph: Radiograph) -> tuple[float, float]:
    """The radiograph's window, or one from its grey values."""
    if radiograph.window is not None and radiograph.window.white > radiograph.window.black:
        return float(radiograph.window.black), float(radiograph.window.white)
    sample = radiograph.pixels[::8, ::8].astype(float)
    black, white = (float(value) for value in np.nanpercentile(sample, (0.5, 99.5)))
    return black, white if white > black else black + 1.0


def local_contrast(radiograph: Radiograph) -> NDArray[np.uint8]:
    """Even out the contrast of neighbourhoods of an eighth of the image; for the eye only."""
    import cv2  # noqa: PLC0415 - only who asks for it waits for it

    levelled = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(display_pixels(radiograph))
    return np.asarray(levelled, dtype=np.uint8)
