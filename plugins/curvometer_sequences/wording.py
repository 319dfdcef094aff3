"""Steps with their words: motion, why, check, what if it does not advance, when to stop."""

from __future__ import annotations

from functools import lru_cache

from curvometer import Instrument, PlanRequest, SequenceStep, StepRole, stops_short_mm

HANDLING = (
    "Flutes are wiped after each entry, the instrument never stays in one place, and each is used once"
    " (common practice, no source).",
    "A rotary instrument of these sizes is for canals where a 6 or 8 hand file reaches length and a 10 or 15 does not;"
    " below about 500 rpm the thinnest ones flex and buckle under apical pressure (common practice, no source).",
    "Motor torque limits cannot protect sizes 10 to 20: light strokes do.",
)
WIDE_TAPER_UP_TO_DEG = 30.0
"""Above this angle a shaping instrument of more than taper .04 is left out (common practice, no source)."""
_STOP = "Stop at any loss of length or at a deflected tip; take a new radiograph."
_LENGTH = "Measure the working length again; a loss of 0.5 mm or more stops the plan."


@lru_cache(maxsize=1024)
def explore(piece: Instrument, to_mm: float, *, curved: bool, why: str = "") -> SequenceStep:
    """A hand file to a depth, first of all."""
    return SequenceStep(
        instrument=piece,
        to_mm=to_mm,
        role=StepRole.EXPLORE,
        motion=hand_motion(curved=curved),
        why=why or "No rotary instrument goes where no hand file has been.",
        check="It reaches the depth without force and slides; the canal is flooded.",
        if_short="Take a fresh, pre-curved file; after two or three attempts without progress stop and think again.",
        stop_when=_STOP,
    )


@lru_cache(maxsize=1024)
def confirm(
    piece: Instrument, to_mm: float, *, after: Instrument | None, curved: bool, last: bool
) -> SequenceStep:
    """A hand file between two enlargements, or the last one."""
    return SequenceStep(
        instrument=piece,
        to_mm=to_mm,
        role=StepRole.CONFIRM,
        motion=hand_motion(curved=curved),
        why="It shows that the path is open and the length kept."
        if not last
        else "The canal is ready for shaping.",
        check=_LENGTH if not last else f"It is loose: by finger weight down and up again. {_LENGTH}",
        if_short=_if_hand_short(piece, after) if last else "Irrigate, go back one size, and repeat by hand.",
        stop_when=_STOP,
    )


@lru_cache(maxsize=1024)
def preflare(piece: Instrument, to_mm: float, *, speed_rpm: float, seconds: float) -> SequenceStep:
    """The coronal third, wider, well above the curve."""
    return SequenceStep(
        instrument=piece,
        to_mm=to_mm,
        role=StepRole.PREFLARE,
        motion="one entry, light strokes of 1 to 2 mm, away from the furcation, never held in one place",
        speed_rpm=speed_rpm,
        seconds=seconds,
        pecks=2,
        why="A wider coronal third lets the next instruments meet the curve only, and makes the length more accurate.",
        check=_LENGTH,
        if_short="Stop where it stops; do not push.",
        stop_when=_STOP,
    )


@lru_cache(maxsize=1024)
def shape(
    piece: Instrument,
    to_mm: float,
    *,
    speed_rpm: float,
    seconds: float,
    next_name: str,
    offer: bool = False,
    fallback: str = "",
) -> SequenceStep:
    """A rotary instrument."""
    return SequenceStep(
        instrument=piece,
        to_mm=to_mm,
        role=StepRole.SHAPE,
        motion=("an offer that may be left out: " if offer else "")
        + "2 or 3 gentle strokes of 1 to 2 mm, always moving, never held in one place",
        speed_rpm=speed_rpm,
        seconds=seconds,
        pecks=3,
        why="An offer: the glide path is complete. Leave it out and end here, or go on to make room for what follows."
        if offer
        else "It widens the glide path by one step.",
        check=f"Wipe, look at the flutes, irrigate; then {next_name}.",
        if_short="Withdraw, wipe, irrigate, go back to the hand file; a second attempt, then no further by motor.",
        stop_when=f"It binds, bends or unwinds. {fallback or _STOP}",
    )


def which_angle(request: PlanRequest) -> list[str]:
    """Name the angle where two measures of one bend are known; they differ by up to a factor of two."""
    schneider = request.schneider_angle_deg
    if schneider is None or request.angle_deg <= 0.0:
        return []
    return [
        f"Central angle {_degrees(request.angle_deg)} degrees; Schneider's {_degrees(schneider)} is another measure of the"
        " same bend."
    ]


def _degrees(angle: float) -> str:
    return f"{angle:.1f}".removesuffix(".0")


def after_wide(*, row: str, angle_deg: float) -> list[str]:
    """What follows a canal that is wide already; the table names no instrument for it, so neither do these sentences."""
    flare = "a coronal flare and " if row == "R12" else ""
    told = [
        "The glide path is complete once the hand file is loose at length; no glide-path file by motor is needed.",
        f"What follows, {flare}the shaping instrument, is the clinician's choice by its maker's instructions;"
        " this plan names none.",
    ]
    if row == "R12" and angle_deg > WIDE_TAPER_UP_TO_DEG:
        told.append(
            f"Above a central angle of {WIDE_TAPER_UP_TO_DEG:g} degrees, as here, the taper of the shaping instrument"
            " is .04 at most."
        )
    beyond = (
        "refer where that share is above 50 %"
        if row == "R12"
        else "leave it out where that share is above 50 %"
    )
    told.append(
        f"Check the strain and the budget share of the shaping instrument in this curve first; {beyond}."
    )
    return told


def hand_motion(*, curved: bool) -> str:
    """How a hand file moves."""
    return "pre-curved, light watch-winding, stop aligned with the curve" if curved else "light watch-winding"


def _if_hand_short(piece: Instrument, after: Instrument | None) -> str:
    short = 0.0 if after is None else stops_short_mm(piece, after=after)
    if after is None or short < 0.05:
        return "Go back one size by hand and repeat; never push."
    return (
        f"After {after.name} it nominally stops about {short:.2f} mm short: light watch-winding, or a rotary 15/.02 step"
        " at 600 rpm within the same limits, then this file again."
    )
