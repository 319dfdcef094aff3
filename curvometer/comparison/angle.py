"""Why two tracings' Schneider angles differ: the line itself, where the curve was said to start, or the foramen.

Schneider's angle is worked out anew with one of the three exchanged at a time. What an exchange changes depends on which
were exchanged before it; its mean over all orders (Shapley's value) does not, and the three add up to the whole
difference. Start and foramen are places *along* a line here: a line that is drawn beside the reference, parallel to it, has
the same angle, and no cause is then made up out of two that cancel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from curvometer.curvature import CanalTooShortError, DegenerateLandmarksError, coronal_axis, schneider_angle
from curvometer.geometry import FloatArray, arc_length, dot, point_at, project_to_polyline
from curvometer.measurement import CanalMeasurement

_ORDERS = np.array([[2.0, 1.0], [1.0, 2.0]]) / 6.0
"""Of the six orders of three exchanges, the share in which neither, one or both of the other two came before."""


@dataclass(frozen=True, kw_only=True)
class AngleCauses:
    """What makes a Schneider angle differ from the reference's, degrees.

    Attributes
    ----------
    line_deg
        The line was drawn otherwise.
    curve_start_deg
        The curve was said to start elsewhere along it.
    foramen_deg
        The foramen was set elsewhere along it.
    remainder_deg
        What the measured angles differ beyond the sum of the three: the angles are worked out anew from the drawn lines,
        which does not give the measured ones to the last digit.
    """

    line_deg: float
    curve_start_deg: float
    foramen_deg: float
    remainder_deg: float

    @property
    def sum_deg(self) -> float:
        """All four together: the difference of the measured angles."""
        return self.line_deg + self.curve_start_deg + self.foramen_deg + self.remainder_deg

    @property
    def largest(self) -> str:
        """Name of the largest cause: ``"line"``, ``"curve_start"`` or ``"foramen"``."""
        causes = {"line": self.line_deg, "curve_start": self.curve_start_deg, "foramen": self.foramen_deg}
        return max(causes, key=lambda name: abs(causes[name]))


@dataclass(frozen=True, kw_only=True)
class _Drawn:
    """One tracing's line and its two places, in a plane of equal scale."""

    line: FloatArray
    start: FloatArray
    foramen: FloatArray


def angle_causes(
    student: CanalMeasurement, reference: CanalMeasurement, *, pixel_aspect: float = 1.0
) -> AngleCauses | None:
    """Divide the difference of two Schneider angles, student - reference, among its causes.

    Parameters
    ----------
    student, reference
        Two measurements of one canal on one image.
    pixel_aspect
        Row spacing / column spacing of the image (`Calibration.aspect_ratio`).

    Returns
    -------
    AngleCauses or None
        None where one of the two is straight, so that no start of a curve can be exchanged, or where one's curve starts
        beyond the other's foramen.

    References
    ----------
    `curvometer.bibliography.SHAPLEY_1953`; derivation in docs/comparison.md.
    """
    if student.schneider_angle is None or reference.schneider_angle is None:
        return None
    mine, theirs = _drawn(student, pixel_aspect), _drawn(reference, pixel_aspect)
    if mine is None or theirs is None:
        return None
    try:
        angles = np.array([_angles(each.line, (theirs, mine)) for each in (theirs, mine)])
    except (CanalTooShortError, DegenerateLandmarksError):
        return None
    line, start, foramen = (
        float((_ORDERS * np.diff(np.moveaxis(angles, cause, 0), axis=0)[0]).sum()) for cause in range(3)
    )
    whole = student.schneider_angle.value - reference.schneider_angle.value
    return AngleCauses(
        line_deg=line,
        curve_start_deg=start,
        foramen_deg=foramen,
        remainder_deg=whole - line - start - foramen,
    )


def _drawn(measurement: CanalMeasurement, pixel_aspect: float) -> _Drawn | None:
    marks, plane = measurement.landmarks, np.array([pixel_aspect, 1.0])
    if marks.curve_start_rc is None:
        return None
    return _Drawn(
        line=marks.line_rc * plane, start=marks.curve_start_rc * plane, foramen=marks.foramen_rc * plane
    )


def _angles(line: FloatArray, both: tuple[_Drawn, _Drawn]) -> list[list[float]]:
    """Schneider's angles of one line with each start of a curve (outer) and each foramen (inner).

    Both are the line's places nearest to them. The four are looked up at once, and an axis serves both foramina: half of the
    time of marking a class went into doing this one by one.
    """
    places = np.array([each.start for each in both] + [each.foramen for each in both])
    s, _ = project_to_polyline(places, line)
    ends = [_end_of(line, each.foramen, float(at)) for each, at in zip(both, s[2:], strict=True)]
    angles = []
    for start in s[:2]:
        if any(start >= end_s for _, end_s in ends):
            raise DegenerateLandmarksError("the start of the curve lies beyond the foramen: move one of them")
        axis, corner = axis_up_to(line, float(start)), point_at(line, float(start))
        angles.append([float(schneider_angle(axis, corner, end)) for end, _ in ends])
    return angles


def axis_up_to(line: FloatArray, s: float) -> FloatArray:
    """Coronal axis of a line up to a place along it; a line that bends from its orifice on has its direction there."""
    first_piece = float(arc_length(line[:2])[1])
    return coronal_axis(line, max(s, first_piece))


def _end_of(line: FloatArray, foramen: FloatArray, s: float) -> tuple[FloatArray, float]:
    """The place of a line nearest to a foramen, the line carried on straight where it stops short, and how far along.

    `s` is where the nearest place of the line itself lies.
    """
    length = float(arc_length(line)[-1])
    if s < length:
        return point_at(line, s), s
    ahead = line[-1] - line[-2]
    ahead = ahead / np.hypot(*ahead)
    beyond = max(float(dot(foramen - line[-1], ahead)), 0.0)
    return line[-1] + beyond * ahead, length + beyond
