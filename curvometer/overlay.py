"""The measured canal drawn on its radiograph: what was measured where, without hiding the canal.

Only the surroundings of the canal are shown, enlarged; lines are thin and partly transparent, words stand
beside the canal and in a strip below. Colours are from a set that people with any colour vision tell apart
(Okabe and Ito 2008, from memory), and every line also has its own pattern, every landmark its own mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from curvometer.calibration import Calibration
from curvometer.centreline import Centreline
from curvometer.loading import display_pixels
from curvometer.measurement import CanalMeasurement, FittedLandmarks, Quantity
from curvometer.radiograph import CurvometerError, Radiograph
from curvometer.saving import PathLike, save_bytes

FloatArray = NDArray[np.float64]
ByteArray = NDArray[np.uint8]
Colour = tuple[int, int, int]

ORANGE: Colour = (230, 159, 0)
SKY_BLUE: Colour = (86, 180, 233)
GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
PURPLE: Colour = (204, 121, 167)
WHITE: Colour = (255, 255, 255)
DARK: Colour = (12, 12, 12)

LONG_SIDE = 1400
MARGIN = 0.22
"""Space around the canal as a share of its longer side: enough to see the root and to write beside it."""
TEXT_SCALE = 0.7
FONT = cv2.FONT_HERSHEY_SIMPLEX
SUBPIXEL_BITS = 4
TRANSPARENCY = 0.8
LINE_HEIGHT = 30
BAND = 7
TWO_COLUMNS_FROM = 900
"""Width of a picture from which sentences stand beside the legend, not below it."""
BEYOND = 50.0
"""How far a line goes on beyond the points it is drawn through, in pixels of the picture."""

DASHES = {"solid": (), "dashed": (18.0, 10.0), "dash-dot": (18.0, 7.0, 3.0, 7.0), "dotted": (3.0, 9.0)}


def draw_overlay(
    radiograph: Radiograph, centreline: Centreline, measurement: CanalMeasurement, calibration: Calibration
) -> ByteArray:
    """Draw the measured canal on its image.

    Parameters
    ----------
    radiograph
        The image.
    centreline
        What was traced.
    measurement
        What was measured on it.
    calibration
        The image's scale: a millimetre bar when it holds at the tooth, else a bar in pixels.

    Returns
    -------
    array
        (rows, columns, 3) uint8, red-green-blue; the longer side of the picture part is 1400 pixels.
    """
    view = _view(radiograph, centreline, measurement.landmarks, calibration.aspect_ratio)
    canvas = Canvas(background(radiograph, view))
    marks = measurement.landmarks
    _draw_curve(canvas, view, marks)
    _draw_schneider(canvas, view, marks, measurement.schneider_angle)
    canvas.line(view.place(centreline.points_rc), SKY_BLUE, "solid", 2)
    _draw_landmarks(canvas, view, marks)
    low_end = view.place(max(marks.orifice_rc, marks.foramen_rc, key=lambda point: float(point[0])))[0]
    draw_scale_bar(canvas, view, calibration, left=bool(low_end[0] > canvas.width / 2.0))
    return np.vstack([canvas.picture(), _strip(canvas.width, measurement, calibration)])


def write_png(picture: ByteArray, path: PathLike, *, overwrite: bool = False) -> None:
    """Save a picture as PNG, without any metadata: the whole file or nothing.

    Parameters
    ----------
    picture
        (rows, columns, 3) uint8, red-green-blue.
    path
        Where it goes.
    overwrite
        Whether an existing file may be replaced.

    Raises
    ------
    CurvometerError
        When the picture is not of that form.
    SavingError
        When the file exists and `overwrite` is false, or cannot be written.
    """
    picture = np.asarray(picture)
    if picture.ndim != 3 or picture.shape[2] != 3 or picture.dtype != np.uint8:
        raise CurvometerError(
            f"the picture has shape {picture.shape} and type {picture.dtype};"
            " a PNG needs rows x columns x 3 bytes"
        )
    _, content = cv2.imencode(".png", np.ascontiguousarray(picture[:, :, ::-1]))
    save_bytes(content.tobytes(), path, overwrite=overwrite)


@dataclass(frozen=True, kw_only=True)
class View:
    """Which part of the image is shown, and how much larger.

    Rows and columns apart because pixels may not be square. `first_rc` is the first pixel shown, `shape` the
    rows and columns shown, `zoom_rc` the enlargement.
    """

    first_rc: tuple[int, int]
    shape: tuple[int, int]
    zoom_rc: tuple[float, float]

    @property
    def size(self) -> tuple[int, int]:
        """Rows and columns of the picture."""
        return round(self.shape[0] * self.zoom_rc[0]), round(self.shape[1] * self.zoom_rc[1])

    def place(self, points_rc: FloatArray) -> FloatArray:
        """Positions on the image -> (n, 2) x, y on the picture; pixel centres are integers on both."""
        rows, cols = np.atleast_2d(points_rc).T
        x = (cols - self.first_rc[1] + 0.5) * self.zoom_rc[1] - 0.5
        y = (rows - self.first_rc[0] + 0.5) * self.zoom_rc[0] - 0.5
        return np.column_stack([x, y])


def _view(radiograph: Radiograph, centreline: Centreline, marks: FittedLandmarks, aspect: float) -> View:
    points = np.vstack([centreline.points_rc, marks.line_rc, marks.foramen_rc, marks.orifice_rc])
    return view_of(radiograph, points, aspect)


def view_of(radiograph: Radiograph, points_rc: FloatArray, aspect: float) -> View:
    """The part of an image that holds some points (n, 2) with room around them; `aspect` is row over column spacing."""
    points = points_rc * (aspect, 1.0)  # square pixels from here on
    low, high = points.min(axis=0), points.max(axis=0)
    long_side = float((high - low).max())
    # A canal is long and narrow; without a least breadth there would be no root around it, no room to write.
    half = np.maximum((high - low) / 2.0 + MARGIN * long_side, 0.36 * long_side)
    middle = (low + high) / 2.0
    bounds = np.array([middle - half, middle + half]) / (aspect, 1.0)
    first = np.clip(np.floor(bounds[0]), 0, np.array(radiograph.shape) - 2).astype(int)
    last = np.clip(np.ceil(bounds[1]) + 1, first + 2, radiograph.shape).astype(int)
    rows, cols = (int(n) for n in last - first)
    zoom = LONG_SIDE / max(rows * aspect, cols)
    return View(first_rc=(int(first[0]), int(first[1])), shape=(rows, cols), zoom_rc=(zoom * aspect, zoom))


def background(radiograph: Radiograph, view: View) -> ByteArray:
    """That part of the image, enlarged, grey in three channels."""
    (row, col), (rows, cols), size = view.first_rc, view.shape, view.size
    part = np.ascontiguousarray(display_pixels(radiograph)[row : row + rows, col : col + cols])
    enlarging = view.zoom_rc[0] >= 1.0 and view.zoom_rc[1] >= 1.0
    how = cv2.INTER_CUBIC if enlarging else cv2.INTER_AREA
    grey = cv2.resize(part, (size[1], size[0]), interpolation=how)
    return np.repeat(np.asarray(grey, dtype=np.uint8)[:, :, None], 3, axis=2)


class Canvas:
    """A picture with thin lines that let the image shine through, and words on top that do not."""

    def __init__(self, background: ByteArray) -> None:
        self._background = background
        self._lines = background.copy()
        self._words: list[tuple[str, int, int]] = []
        self._taken: list[tuple[float, float, float, float]] = []

    @property
    def height(self) -> int:
        """Rows."""
        return int(self._background.shape[0])

    @property
    def width(self) -> int:
        """Columns."""
        return int(self._background.shape[1])

    def line(self, points: FloatArray, colour: Colour, pattern: str, thickness: int) -> None:
        """Draw through (n, 2) x, y."""
        _polyline(self._lines, points, colour, pattern, thickness)

    def cased_line(self, points: FloatArray, colour: Colour, pattern: str, thickness: int) -> None:
        """Draw with a dark edge, for lines beside the canal that must be seen on bright enamel, too."""
        self.line(points, DARK, pattern, thickness + 2)
        self.line(points, colour, pattern, thickness)

    def band(self, points: FloatArray, colour: Colour, thickness: int) -> None:
        """Draw a broad line that the image and a thin line on top of it can be seen through."""
        broad = self._lines.copy()
        _polyline(broad, points, colour, "solid", thickness)
        self._lines = np.asarray(cv2.addWeighted(broad, 0.55, self._lines, 0.45, 0.0), dtype=np.uint8)

    def mark(self, point: FloatArray, colour: Colour, corners: int) -> None:
        """Draw a hollow mark, so that the point stays visible: a circle (0 corners) or a polygon."""
        angles = np.linspace(0.0, 2.0 * np.pi, (corners or 32) + 1) - np.pi / 2.0
        ring = point + 9.0 * np.column_stack([np.cos(angles), np.sin(angles)])
        self.line(ring, DARK, "solid", 4)
        self.line(ring, colour, "solid", 2)

    def keep_free(self, points: FloatArray) -> None:
        """Let no word be put over these points."""
        self._taken += [(x - 6, y - 6, x + 6, y + 6) for x, y in points]

    def word(self, text: str, near: FloatArray, colour: Colour, *, side: float) -> None:
        """Write beside a point, left (-1) or right (+1) of it, where nothing else stands."""
        (width, height), _ = cv2.getTextSize(text, FONT, TEXT_SCALE, 1)
        candidates = [
            (reach, drop, direction)
            for reach in (60, 30, 110, 170, 240)
            for direction in (side, -side)
            for drop in (0, -34, 34, -68, 68, -102, 102)
        ]
        for reach, drop, direction in candidates:
            x = near[0] + reach if direction > 0 else near[0] - reach - width
            y = near[1] + drop
            box = (x - 4, y - height - 4, x + width + 4, y + 8)
            if self._inside(box) and not any(_overlap(box, other) for other in self._taken):
                break
        else:
            x, y = (min(max(v, 8.0), limit) for v, limit in zip((x, y), self._room(width), strict=True))
            box = (x, y - height, x + width, y + 8)
        end = (x - 5 if direction > 0 else x + width + 5, y - height / 2)
        start = np.array(near) + 12.0 * np.sign(end[0] - near[0]) * np.array([1.0, 0.0])
        self.line(np.array([start, end]), colour, "solid", 1)
        self._taken.append(box)
        self._words.append((text, round(x), round(y)))

    def plain_word(self, text: str, x: float, y: float) -> None:
        """Write at a fixed place, the left end of the base line."""
        self._words.append((text, round(x), round(y)))

    def picture(self) -> ByteArray:
        """Lay the lines over the image and the words over both."""
        mixed = cv2.addWeighted(self._lines, TRANSPARENCY, self._background, 1.0 - TRANSPARENCY, 0.0)
        picture = np.asarray(mixed, dtype=np.uint8)
        for text, x, y in self._words:
            _write(picture, text, x, y)
        return picture

    def _inside(self, box: tuple[float, float, float, float]) -> bool:
        return box[0] >= 0 and box[1] >= 0 and box[2] <= self.width and box[3] <= self.height

    def _room(self, text_width: int) -> tuple[float, float]:
        return max(8.0, self.width - text_width - 8.0), self.height - 12.0


def _polyline(picture: ByteArray, points: FloatArray, colour: Colour, pattern: str, thickness: int) -> None:
    for piece in _dashes(points, DASHES[pattern]):
        fixed = np.round(piece * 2**SUBPIXEL_BITS).astype(np.int32)[:, None, :]
        cv2.polylines(picture, [fixed], False, colour, thickness, cv2.LINE_AA, SUBPIXEL_BITS)


def _write(picture: ByteArray, text: str, x: int, y: int) -> None:
    """Write in white with a dark halo, made from the letters: a thicker pen changes their width."""
    (width, height), drop = cv2.getTextSize(text, FONT, TEXT_SCALE, 1)
    top, left = max(y - height - 12, 0), max(x - 6, 0)
    part = picture[top : y + drop + 8, left : x + width + 8]  # a view: what is written here is in the picture
    letters = np.zeros(part.shape[:2], dtype=np.uint8)
    cv2.putText(letters, text, (x - left, y - top), FONT, TEXT_SCALE, 255, 1, cv2.LINE_AA)
    halo = cv2.dilate(letters, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5)))
    halo = cv2.GaussianBlur(halo, (5, 5), 0)
    for mask, ink, strength in ((halo, DARK, 0.8), (letters, WHITE, 1.0)):
        share = mask[:, :, None] * (strength / 255.0)
        part[:] = np.round(part * (1.0 - share) + np.array(ink) * share).astype(np.uint8)


def _overlap(one: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _dashes(points: FloatArray, pattern: tuple[float, ...]) -> list[FloatArray]:
    """Cut a line into its visible pieces; lengths in picture pixels."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if not pattern or along[-1] == 0.0:
        return [points]
    pieces = []
    for first in range(0, len(pattern), 2):  # visible and gap in turn
        for start in np.arange(sum(pattern[:first]), along[-1], sum(pattern)):
            pieces.append(_between(points, along, start, min(start + pattern[first], along[-1])))
    return pieces


def _between(points: FloatArray, along: FloatArray, start: float, end: float) -> FloatArray:
    inner = points[(along > start) & (along < end)]
    ends = [[np.interp(s, along, points[:, k]) for k in (0, 1)] for s in (start, end)]
    return np.vstack([ends[:1], inner, ends[1:]])


def _draw_curve(canvas: Canvas, view: View, marks: FittedLandmarks) -> None:
    """Draw the fitted arc, and where its circle would go on."""
    canvas.keep_free(view.place(marks.line_rc)[::4])
    if marks.curve_start_rc is None or marks.curve_end_rc is None:
        return
    first, last = sorted(
        int(np.hypot(*(marks.line_rc - end).T).argmin()) for end in (marks.curve_start_rc, marks.curve_end_rc)
    )
    canvas.band(view.place(marks.line_rc[first : last + 1]), ORANGE, BAND)
    for arc in marks.arcs:
        for beyond in _circle_beyond(marks.line_rc, arc):
            canvas.cased_line(view.place(beyond), ORANGE, "dotted", 2)


def _circle_beyond(line_rc: FloatArray, arc: tuple[float, float, float]) -> list[FloatArray]:
    """Continue a fitted circle by 20 degrees beyond both ends of the part that the line follows."""
    centre, radius_px = np.array(arc[:2]), arc[2]
    away = line_rc - centre
    on_circle = np.flatnonzero(np.abs(np.hypot(*away.T) - radius_px) < 0.05 + 1e-4 * radius_px)
    if len(on_circle) < 3:
        return []  # on pixels that are not square a circle is none
    turns = np.unwrap(np.arctan2(away[on_circle, 1], away[on_circle, 0]))
    step = np.sign(turns[-1] - turns[0]) * np.radians(np.linspace(0.0, 20.0, 21))
    return [
        centre + radius_px * np.column_stack([np.cos(angles), np.sin(angles)])
        for angles in (turns[0] - step, turns[-1] + step)
    ]


def _draw_schneider(canvas: Canvas, view: View, marks: FittedLandmarks, angle: Quantity | None) -> None:
    """Draw both Schneider lines and the angle between them, at the start of the curve."""
    axis = view.place(marks.axis_rc)
    along_axis = unit(axis[1] - axis[0])
    before = axis[0] - BEYOND * along_axis  # shows that it is a line, not the canal
    if marks.curve_start_rc is None:
        canvas.cased_line(np.array([before, axis[1] + BEYOND * along_axis]), YELLOW, "dashed", 2)
        return
    corner, foramen = view.place(marks.curve_start_rc)[0], view.place(marks.foramen_rc)[0]
    along_chord, reach = unit(foramen - corner), float(np.hypot(*(foramen - corner)))
    lines = [
        np.array([before, corner + 0.95 * reach * along_axis]),
        np.array([corner, foramen + BEYOND * along_chord]),
    ]
    canvas.cased_line(lines[0], YELLOW, "dashed", 2)
    canvas.cased_line(lines[1], PURPLE, "dash-dot", 2)
    turn = sweep(along_axis, along_chord)
    canvas.cased_line(corner + 0.6 * reach * turn, YELLOW, "solid", 2)
    for points in (*lines, corner + 0.6 * reach * turn):
        canvas.keep_free(dense(points))
    if angle is not None:
        # On the outer side of the angle, away from the canal, which lies between the two lines' feet.
        side = float(np.sign(along_axis[0] - along_chord[0])) or 1.0
        canvas.word(f"Schneider {angle.value:.1f} deg", corner + 0.6 * reach * turn[0], YELLOW, side=side)


def dense(points: FloatArray) -> FloatArray:
    """Fill a line of two points with some between them."""
    return np.linspace(points[0], points[-1], 60) if len(points) == 2 else points


def unit(vector: FloatArray) -> FloatArray:
    """The vector at length 1; the zero vector stays."""
    length = float(np.hypot(*vector))
    return vector / length if length > 0.0 else vector


def sweep(first: FloatArray, second: FloatArray) -> FloatArray:
    """Turn from one unit direction to another, the short way."""
    start = float(np.arctan2(first[1], first[0]))
    turn = float(np.arctan2(first[0] * second[1] - first[1] * second[0], first @ second))
    angles = start + turn * np.linspace(0.0, 1.0, 40)
    return np.column_stack([np.cos(angles), np.sin(angles)])


def _draw_landmarks(canvas: Canvas, view: View, marks: FittedLandmarks) -> None:
    """Mark and name the landmarks, on the side where the curve bulges, away from the Schneider lines."""
    curve_end_rc, foramen = marks.curve_end_rc, "apical foramen"
    if curve_end_rc is not None and np.hypot(*np.ptp(view.place(_both(curve_end_rc, marks)), axis=0)) < 12.0:
        curve_end_rc, foramen = None, "apical foramen and curve end"
    named: list[tuple[str, FloatArray | None, Colour, int]] = [
        ("orifice", marks.orifice_rc, SKY_BLUE, 0),
        ("curve start", marks.curve_start_rc, ORANGE, 3),
        ("curve end", curve_end_rc, ORANGE, 4),
        (foramen, marks.foramen_rc, GREEN, 5),
    ]
    side = _outer_side(view, marks)
    for name, position_rc, colour, corners in named:
        if position_rc is not None:
            place = view.place(position_rc)[0]
            canvas.mark(place, colour, corners)
            canvas.word(name, place, colour, side=side)


def _both(curve_end_rc: FloatArray, marks: FittedLandmarks) -> FloatArray:
    return np.array([curve_end_rc, marks.foramen_rc])


def _outer_side(view: View, marks: FittedLandmarks) -> float:
    orifice, foramen = view.place(marks.orifice_rc)[0], view.place(marks.foramen_rc)[0]
    bulge = view.place(marks.line_rc).mean(axis=0) - (orifice + foramen) / 2.0
    return 1.0 if bulge[0] >= 0.0 else -1.0


def draw_scale_bar(canvas: Canvas, view: View, calibration: Calibration, *, left: bool) -> None:
    """Draw a bar of round length in the lower corner where the canal does not end."""
    scale = calibration.mm_per_pixel
    per_unit = view.zoom_rc[1]
    unit = "px"
    if scale is not None and calibration.spacing_rc_mm is not None:
        per_unit, unit = view.zoom_rc[1] / calibration.spacing_rc_mm[1], "mm"
    most = 0.3 * canvas.width / per_unit
    step = 10.0 ** np.floor(np.log10(most))
    length = float(step * max(n for n in (1, 2, 5) if n * step <= most))
    y, x = canvas.height - 24.0, 24.0 if left else canvas.width - 24.0 - length * per_unit
    bar = np.array([[x, y - 7], [x, y], [x + length * per_unit, y], [x + length * per_unit, y - 7]])
    canvas.line(bar, DARK, "solid", 5)
    canvas.line(bar, WHITE, "solid", 2)
    canvas.plain_word(f"{length:g} {unit}", x + 8, y - 12)


def _strip(width: int, measurement: CanalMeasurement, calibration: Calibration) -> ByteArray:
    """Explain the lines and repeat the main values below the picture, where they hide nothing."""
    legend: list[tuple[str, Colour, str, int]] = [
        ("traced centreline", SKY_BLUE, "solid", 2),
        ("coronal axis (Schneider 1)", YELLOW, "dashed", 2),
    ]
    if measurement.landmarks.curve_start_rc is not None:
        legend.append(("start to foramen (Schneider 2)", PURPLE, "dash-dot", 2))
        legend.append(("fitted curve", ORANGE, "solid", BAND))
    if measurement.landmarks.arcs:
        legend.append(("its circle", ORANGE, "dotted", 2))
    return explained(width, legend, _values(measurement, calibration))


def _values(measurement: CanalMeasurement, calibration: Calibration) -> list[str]:
    shown = {
        "Schneider": measurement.schneider_angle,
        "Smallest radius": measurement.minimum_radius,
        "Curve start from foramen": measurement.curve_start_from_foramen,
    }
    lines = [f"{name} {quantity}" for name, quantity in shown.items() if quantity is not None]
    if calibration.mm_per_pixel is None:
        lines.append("no scale in the plane of the tooth: angles only")
    return [*lines, "95 % intervals. Not a diagnostic device."]


def text_width(text: str) -> int:
    """Columns of the picture that a text takes."""
    return int(cv2.getTextSize(text, FONT, TEXT_SCALE, 1)[0][0])


def room_for_words(width: int) -> int:
    """Columns that `explained` leaves for a sentence."""
    return width - 32 if width < TWO_COLUMNS_FROM else width - (width // 2 - 40) - 16


def explained(width: int, legend: list[tuple[str, Colour, str, int]], values: list[str]) -> ByteArray:
    """A strip below a picture: each line with its name, colour, pattern and thickness, and some sentences beside."""
    columns = 2 if width >= TWO_COLUMNS_FROM else 1
    rows = max(len(legend), len(values)) if columns == 2 else len(legend) + len(values)
    canvas = Canvas(np.full((rows * LINE_HEIGHT + 20, width, 3), DARK, dtype=np.uint8))
    for row, (name, colour, pattern, thickness) in enumerate(legend):
        y = 10.0 + (row + 0.5) * LINE_HEIGHT
        canvas.line(np.array([[16.0, y], [96.0, y]]), colour, pattern, thickness)
        canvas.plain_word(name, 112, y + 7)
    for row, text in enumerate(values):
        place = row if columns == 2 else len(legend) + row
        x = width // 2 - 40 if columns == 2 else 16
        canvas.plain_word(text, x, 17 + (place + 0.5) * LINE_HEIGHT)
    return canvas.picture()
