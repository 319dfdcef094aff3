"""Scale from what the user knows: a file of known length, or several of them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from numpy.typing import ArrayLike

from curvometer.bibliography import HowRead, Reference
from curvometer.calibration.file_length import PathLength, measure_path
from curvometer.calibration.scale import Calibration, CalibrationError, CalibrationOrigin
from curvometer.calibration.stated import LARGEST_PITCH_MM, SMALLEST_PITCH_MM, check_positive

LONGEST_FILE_MM = 40.0
"""ISO 3630-1 files are 21, 25, 28 or 31 mm long; nothing in a canal is longer than this."""
DISAGREEMENT_P = 0.05
"""Chance level at which objects are said to disagree: common practice, no source."""

LENGTH_TOLERANCE = Reference(
    key="iso-3630-1-length-tolerance",
    citation="ISO 3630-1, root-canal instruments: length tolerance +-0.5 mm",
    how_read=HowRead.MEMORY,
    note="A stop is set on a millimetre ruler that is read to 0.5 mm: common practice, no source.",
)
UNIFORM_TOLERANCE = Reference(
    key="gum-4.3.7",
    citation="JCGM 100:2008 (GUM), 4.3.7: limits +-a with nothing known between them have variance a^2 / 3",
    how_read=HowRead.MEMORY,
)
BIRGE_RATIO = Reference(
    key="birge-1932",
    citation="Birge RT. The calculation of errors by the method of least squares. Phys Rev 1932;40:207-227",
    how_read=HowRead.MEMORY,
    note="A mean of values that disagree is widened by the square root of chi-square per degree of freedom.",
)


def calibrate_from_known_length(
    path_rc: ArrayLike,
    *,
    length_mm: float,
    length_tolerance_mm: float = 0.5,
    click_sd_px: float = 1.0,
    aspect_ratio: float = 1.0,
) -> Calibration:
    """Set the scale from a file (or another object) whose length is known, by clicks along its image.

    Parameters
    ----------
    path_rc
        (n, 2) clicks, (row, col) in pixels, along the file from its stop to its tip. Two do for a straight
        file; five or more, closer together in the bend, for a bent one. A dense tracing is fine, too.
    length_mm
        Length between the two ends (stop to tip, not the nominal length of the file), in mm; up to 40.
    length_tolerance_mm
        The true length lies anywhere within this of `length_mm`, in mm.
    click_sd_px
        Standard error of one click in each direction, in pixels.
    aspect_ratio
        Row spacing / column spacing; see `Calibration.aspect_ratio` of `calibrate_from_file`.

    Returns
    -------
    Calibration
        Holds in the plane of that file. Flags: ``"two_clicks_only"`` (a bend would go unseen) and
        ``"few_clicks"`` (bent, and fewer than five clicks).

    Raises
    ------
    CalibrationError
        For a length, tolerance, click error or path that cannot be.

    References
    ----------
    Tolerance as a uniform distribution, standard deviation tol / sqrt(3): GUM 4.3.7 (`UNIFORM_TOLERANCE`).
    Clicks: see `curvometer.calibration.file_length`. The +-0.5 mm: `LENGTH_TOLERANCE`.

    Examples
    --------
    A straight file of 21 mm over 1050 pixels; +-0.5 mm is 1.375 %, the two clicks add 0.135 %:

    >>> calibration = calibrate_from_known_length([(0, 0), (1050, 0)], length_mm=21.0)
    >>> calibration.mm_per_pixel, round(calibration.relative_standard_uncertainty, 5)
    (0.02, 0.01381)
    """
    _check_length(length_mm, length_tolerance_mm)
    check_positive("the click error", click_sd_px, unit="pixels", zero_ok=True, most=100.0)
    check_positive("the aspect ratio", aspect_ratio, unit="(row / column spacing)", least=0.1, most=10.0)
    path = measure_path(path_rc, click_sd_px=click_sd_px, aspect_ratio=aspect_ratio)
    column_mm = _column_spacing(length_mm, path, aspect_ratio)
    relative_variance = (
        (length_tolerance_mm / length_mm) ** 2 / 3.0
        + (path.click_sd / path.length) ** 2
        + (path.shape_sd / path.length) ** 2
    )
    flags, notes = _path_doubts(path)
    return Calibration(
        spacing_rc_mm=(column_mm * aspect_ratio, column_mm),
        aspect_ratio=float(aspect_ratio),
        relative_standard_uncertainty=math.sqrt(relative_variance),
        origin=CalibrationOrigin.KNOWN_LENGTH,
        at_tooth=True,
        flags=flags,
        notes=(
            f"Scale from a length of {length_mm:g} mm (+-{length_tolerance_mm:g} mm), measured along"
            f" {path.n_clicks} clicks; it holds where that object lies.",
            *notes,
        ),
    )


def combine_calibrations(calibrations: Sequence[Calibration]) -> Calibration:
    """Combine several scales of one image and test whether they agree.

    Parameters
    ----------
    calibrations
        At least one; each holds at the tooth and has an uncertainty above 0. One alone is returned as it is.

    Returns
    -------
    Calibration
        Inverse-variance mean of ln(mm per pixel). When a chi-square test finds that chance alone would bring
        so much disagreement in fewer than one of twenty cases, the flag ``"objects_disagree"`` is set and the
        uncertainty is multiplied by the Birge ratio sqrt(chi-square / (n - 1)).

    Raises
    ------
    CalibrationError
        When there is none, one does not hold at the tooth or has no uncertainty, or the aspect ratios differ.

    Notes
    -----
    The logarithm, because relative errors of equal size must weigh equally: the plain inverse-variance mean
    of the scales leans towards the smaller ones. The tolerance of each length counts as independent.

    References
    ----------
    `BIRGE_RATIO`.
    """
    _check_combinable(calibrations)
    if len(calibrations) == 1:
        return calibrations[0]
    weights = [1.0 / c.relative_standard_uncertainty**2 for c in calibrations]
    logs = [math.log(c.mm_per_pixel or math.nan) for c in calibrations]
    mean = _mean(weights, logs)
    chi_square = sum(w * (log - mean) ** 2 for w, log in zip(weights, logs, strict=True))
    freedom = len(calibrations) - 1
    disagree = chi_square_tail(chi_square, freedom) < DISAGREEMENT_P
    widening = math.sqrt(chi_square / freedom) if disagree else 1.0
    scale, aspect = math.exp(mean), calibrations[0].aspect_ratio
    origins = [c.origin for c in calibrations]
    return Calibration(
        spacing_rc_mm=(scale * math.sqrt(aspect), scale / math.sqrt(aspect)),
        aspect_ratio=aspect,
        relative_standard_uncertainty=widening / math.sqrt(sum(weights)),
        origin=min(origins, key=list(CalibrationOrigin).index),
        at_tooth=True,
        flags=_merged([c.flags for c in calibrations], ("objects_disagree",) if disagree else ()),
        notes=_merged([c.notes for c in calibrations], _agreement_note(logs, disagree=disagree)),
    )


def chi_square_tail(chi_square: float, freedom: int) -> float:
    """Probability that chi-square with `freedom` >= 1 degrees of freedom exceeds a value.

    Closed form: Q(1/2, x) = erfc(sqrt x), Q(1, x) = exp(-x),
    Q(a + 1, x) = Q(a, x) + x^a exp(-x) / Gamma(a + 1) with x = chi-square / 2.
    """
    x = chi_square / 2.0
    a = 0.5 if freedom % 2 else 1.0
    tail = math.erfc(math.sqrt(x)) if freedom % 2 else math.exp(-x)
    while a < freedom / 2.0:
        if x > 0.0:
            tail += math.exp(a * math.log(x) - x - math.lgamma(a + 1.0))
        a += 1.0
    return tail


def _mean(weights: Sequence[float], values: Sequence[float]) -> float:
    return sum(w * v for w, v in zip(weights, values, strict=True)) / sum(weights)


def _column_spacing(length_mm: float, path: PathLength, aspect_ratio: float) -> float:
    column_mm = length_mm / path.length
    if not SMALLEST_PITCH_MM <= column_mm * math.sqrt(aspect_ratio) <= LARGEST_PITCH_MM:
        raise CalibrationError(
            f"{length_mm:g} mm over {path.length:.4g} pixels would be {column_mm:.3g} mm per pixel; a"
            f" radiograph has {SMALLEST_PITCH_MM:g} to {LARGEST_PITCH_MM:g}: check the clicks and the length"
        )
    return column_mm


def _path_doubts(path: PathLength) -> tuple[tuple[str, ...], tuple[str, ...]]:
    if path.n_clicks == 2:
        return ("two_clicks_only",), (
            "Only the two ends of the file were clicked, so a bend would make lengths too long: click along"
            " a bent file.",
        )
    if path.n_clicks < 5 and path.turning_deg > 5.0:
        return ("few_clicks",), (
            "The file is bent and has fewer than five clicks: add some, closer together in the bend.",
        )
    return (), ()


def _check_length(length_mm: float, tolerance_mm: float) -> None:
    check_positive("the known length", length_mm, unit="mm", most=LONGEST_FILE_MM)
    check_positive("the length tolerance", tolerance_mm, unit="mm", zero_ok=True, most=LONGEST_FILE_MM)
    if tolerance_mm >= length_mm:
        raise CalibrationError(
            f"the length tolerance is {tolerance_mm:g} mm, as much as the known length of {length_mm:g} mm;"
            " it must be smaller: give the length in mm and how far it may be off"
        )


def _check_combinable(calibrations: Sequence[Calibration]) -> None:
    if not calibrations:
        raise CalibrationError("there is no scale to combine: give at least one")
    if len(calibrations) == 1:
        return
    for calibration in calibrations:
        if calibration.mm_per_pixel is None or not calibration.relative_standard_uncertainty > 0.0:
            raise CalibrationError(
                f"a scale from '{calibration.origin}' cannot be combined; each must hold at the tooth and"
                " have an uncertainty above 0: leave it out or give its uncertainty"
            )
        if abs(math.log(calibration.aspect_ratio / calibrations[0].aspect_ratio)) > 0.01:
            raise CalibrationError(
                f"the scales have pixel aspect ratios {calibrations[0].aspect_ratio:g} and"
                f" {calibration.aspect_ratio:g}; they must be one image's: combine scales of one image only"
            )


def _merged(groups: Sequence[tuple[str, ...]], more: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys([item for group in groups for item in group] + list(more)))


def _agreement_note(logs: Sequence[float], *, disagree: bool) -> tuple[str, ...]:
    spread = f"{100.0 * (math.exp(max(logs) - min(logs)) - 1.0):.1f} %"
    if disagree:
        return (
            f"The {len(logs)} objects disagree by {spread}, more than their tolerances explain, and the"
            " scale's uncertainty was widened: check their lengths and clicks.",
        )
    return (f"{len(logs)} objects agree within {spread}.",)
