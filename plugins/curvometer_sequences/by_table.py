"""The first built-in recommender: the decision table, filled from the clinic's shelf."""

from __future__ import annotations

from curvometer import (
    REFERENCES,
    Instrument,
    NoPlan,
    PlanAdvice,
    PlanRequest,
    SequencePlan,
    SequenceStep,
    step_share,
)
from curvometer_sequences import wording
from curvometer_sequences.rows import ROWS, WITHOUT_ROTARY, Row, is_kink, row_near_by, row_of
from curvometer_sequences.search import Chain, Link, find_chain
from curvometer_sequences.shelf import Shelf, allowed_speed_rpm

PRACTICE = "common practice, no source"
PREFLARE_SHAPE = (10, 0.06)
PREFLARE_RPM, PREFLARE_SECONDS = 300.0, 3.0
ABOVE_CURVE_MM = 2.0
LEAST_PREFLARE_MM = 1.0
_CHECK_SIZES = (10, 8, 6)
_END_SIZE = 15

_NOT_BY_MOTOR = {
    "R18": (
        PlanAdvice.REFER,
        "a better image, a second angulation, a scale, or a hand file at length comes first",
    ),
    "R15": (PlanAdvice.HAND_ONLY, "minimal cleaning by hand, then an apical barrier; refer above 1.5 mm"),
    "R13": (
        PlanAdvice.HAND_ONLY,
        "by hand to the explored depth; plan again when a size 10 has passed to length twice",
    ),
    "R14": (
        PlanAdvice.HAND_ONLY,
        "fresh hand files 6, 8, 10 by watch-winding, or refer; never a motor to length",
    ),
    "R17": (PlanAdvice.HAND_ONLY, "hand files 6, 8 and 10 to length, then plan again"),
    "R16": (PlanAdvice.HAND_ONLY, "each branch by hand; refer where that fails"),
}


def recommend_by_table(request: PlanRequest) -> SequencePlan | NoPlan:
    """Plan by rows R01 to R18 of the decision table, with the modifiers m1 to m9.

    Parameters
    ----------
    request
        Curve, findings, shelf.

    Returns
    -------
    SequencePlan or NoPlan
        The shortest safe sequence of the row that ends with a loose hand 15/.02 at working length, or why there is none.
    """
    code = row_of(request)
    length = request.working_length_mm
    if code in _NOT_BY_MOTOR or length is None:
        return _not_by_motor(code, request)
    shelf = Shelf(request.inventory, posterior=request.is_posterior)
    last = shelf.hand(_END_SIZE, to_mm=length)
    if last is None:
        needed = f"The shelf holds no fresh hand file 15/.02 for {length:g} mm; add one, or refer."
        return _without(code, PlanAdvice.REFER, needed)
    if code not in ROWS:
        return _plan(code, _wide(last, length, shelf, request), request, ())
    return _by_row(code, last, shelf, request)


def _by_row(code: str, last: Instrument, shelf: Shelf, request: PlanRequest) -> SequencePlan | NoPlan:
    row = ROWS[code]
    if is_kink(request) and not row.to_curve_start:
        kink = "The bend is a kink shorter than 1 mm of arc: its strain cannot be told; hand files only."
        return _without(code, PlanAdvice.HAND_ONLY, kink)
    depth = request.curve_start_mm if row.to_curve_start else request.working_length_mm
    chain = None if depth is None else find_chain(row, request, shelf, to_mm=depth)
    if chain is None or depth is None:
        beyond = (
            "No rotary instrument on the shelf passes this curve within half of its budget: hand files only."
        )
        return _without(code, PlanAdvice.HAND_ONLY, beyond)
    steps = _steps(row, chain, depth, last, shelf, request)
    if steps is None:
        missing = "The shelf holds no fresh hand file 6, 8 or 10 long enough to go first; add one, or refer."
        return _without(code, PlanAdvice.REFER, missing)
    return _plan(code, steps, request, chain.remarks)


def _not_by_motor(code: str, request: PlanRequest) -> NoPlan:
    advice, instead = _NOT_BY_MOTOR.get(code, _NOT_BY_MOTOR["R18"])
    opening = request.exploration.apex_opening_mm
    if code == "R15" and opening is not None and opening > 1.5:
        advice = PlanAdvice.REFER
    return _without(code, advice, f"No rotary plan, {WITHOUT_ROTARY[code]}: {instead}.")


def _without(code: str, advice: PlanAdvice, reason: str) -> NoPlan:
    return NoPlan(rule=code, advice=advice, reasons=(reason,), sources=(REFERENCES["sequence-table"],))


def _plan(
    code: str, steps: list[SequenceStep], request: PlanRequest, remarks: tuple[str, ...]
) -> SequencePlan:
    when = ROWS[code].when if code in ROWS else WITHOUT_ROTARY[code]
    reasons = [f"{code} ({PRACTICE}): {when}.", *wording.which_angle(request), *remarks]
    if code not in ROWS:
        reasons += wording.after_wide(row=code, angle_deg=_widest_angle(request))
    cautions = [*wording.HANDLING] if any(step.is_rotary for step in steps) else []
    if near := row_near_by(request):
        cautions.append(
            "The typed values lie within 5 degrees (central angle) or 1 mm of a limit: if they are readings,"
            f" follow {near} instead."
        )
    keys = [
        "sequence-table",
        "sequence-practice",
        "ajina-2022",
        *(["martin-2003"] if request.angle_deg > 30 else []),
    ]
    return SequencePlan(
        recommender="by-table",
        rule=code,
        steps=tuple(steps),
        ends_with="hand 15/.02 loose at working length",
        reasons=tuple(reasons),
        cautions=tuple(cautions),
        sources=tuple(REFERENCES[key] for key in keys),
    )


def _widest_angle(request: PlanRequest) -> float:
    """The angle, or the upper end of its interval."""
    return max(request.angle_deg, *(request.angle_interval_deg or (0.0, 0.0)))


def _wide(last: Instrument, length: float, shelf: Shelf, request: PlanRequest) -> list[SequenceStep]:
    """R01 and R12: the canal is wide already; hand files confirm it."""
    curved = request.angle_deg >= 10.0  # a straight canal needs no pre-curve
    end = wording.confirm(last, length, after=None, curved=curved, last=True)
    larger = shelf.hand(20, to_mm=length)
    if larger is None or request.exploration.size_at_length < 20:  # the size that was tried
        return [end]
    return [wording.explore(larger, length, curved=curved, why="The canal is wide: this file is loose."), end]


def _steps(
    row: Row, chain: Chain, depth: float, last: Instrument, shelf: Shelf, request: PlanRequest
) -> list[SequenceStep] | None:
    """Hand files first, a preflare, rotary steps with a hand file after each, and the last hand file."""
    length = request.working_length_mm or depth
    curved = request.angle_deg >= 10.0  # a straight canal needs no pre-curve
    if not chain.links:
        return [wording.confirm(last, length, after=None, curved=curved, last=True)]
    first = _first_files(row, length, shelf, request)
    check = next((piece for size in _CHECK_SIZES if (piece := shelf.hand(size, to_mm=length))), None)
    if not first or check is None:
        return None
    steps = [wording.explore(piece, length, curved=curved) for piece in first]
    if row.preflare and (widen := _preflare(shelf, request)):
        steps += [widen, wording.confirm(first[-1], length, after=None, curved=curved, last=False)]
    for number, link in enumerate(chain.links, start=1):
        ends = number == len(chain.links) and not row.to_curve_start
        follower = last if ends else first[-1] if row.to_curve_start else check
        steps += [
            wording.shape(
                link.piece,
                depth,
                speed_rpm=link.speed_rpm,
                seconds=row.seconds,
                next_name=follower.name,
                fallback=_fallback(row, number, chain),
            ),
            wording.confirm(follower, length, after=link.piece, curved=curved, last=ends),
        ]
    if chain.offered is not None:
        steps += _offer(chain.offered, depth, last, row, curved=curved)
    if row.to_curve_start:
        steps += [wording.confirm(check, length, after=None, curved=True, last=False)]
        steps += [wording.confirm(last, length, after=None, curved=True, last=True)]
    return steps


def _offer(link: Link, depth: float, last: Instrument, row: Row, *, curved: bool) -> list[SequenceStep]:
    """One enlargement more, after a loose hand 15/.02 and before another."""
    return [
        wording.shape(
            link.piece,
            depth,
            speed_rpm=link.speed_rpm,
            seconds=row.seconds,
            next_name=last.name,
            offer=True,
            fallback=f"Then leave it out, and finish with {last.name}.",
        ),
        wording.confirm(last, depth, after=link.piece, curved=curved, last=True),
    ]


def _fallback(row: Row, number: int, chain: Chain) -> str:
    """What to do where the instrument that may be left out binds."""
    link = chain.links[number - 1]
    if number == 1 or row.most_share is None or link.shape != row.most_share[:2]:
        return ""
    return f"Then stop at {chain.links[number - 2].piece.name}, and finish with the hand file."


def _first_files(row: Row, length: float, shelf: Shelf, request: PlanRequest) -> list[Instrument]:
    """The row's hand files as far as they reached length; else the largest one that did."""
    reached = request.exploration.size_at_length
    found = [p for size in row.hand_first if size <= reached and (p := shelf.hand(size, to_mm=length))]
    if found:
        return found
    others = [p for size in (10, 8, 6) if size <= reached and (p := shelf.hand(size, to_mm=length))]
    return others[:1]


def _preflare(shelf: Shelf, request: PlanRequest) -> SequenceStep | None:
    """Down to the coronal third, 2 mm above the curve, and no deeper than a hand file; None where that is nothing (m7)."""
    length, canal = request.working_length_mm, request.canal_length_mm
    if length is None or canal is None:
        return None
    start = request.curve_start_mm
    if start is None and request.bends_twice:
        return None  # bent, but nobody knows where
    limits = [length - canal * 2.0 / 3.0, request.exploration.explored_depth_mm]
    limits += [] if start is None else [start - ABOVE_CURVE_MM]
    depth = min(limits)
    piece = (
        None if depth - (length - canal) < LEAST_PREFLARE_MM else shelf.rotary(*PREFLARE_SHAPE, to_mm=depth)
    )
    speed = None if piece is None else allowed_speed_rpm(piece, PREFLARE_RPM)
    if piece is None or speed is None:
        return None
    share = step_share(piece, depth, request, speed_rpm=speed, seconds=PREFLARE_SECONDS)
    if share is None or share.value > 0.5:  # the guard's limit
        return None
    return wording.preflare(piece, round(depth - 0.05, 1), speed_rpm=speed, seconds=PREFLARE_SECONDS)
