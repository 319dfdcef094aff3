"""The second built-in recommender: hand files only, for clinics without a motor and for curves beyond every rotary budget."""

from __future__ import annotations

from itertools import pairwise

from curvometer import REFERENCES, Instrument, NoPlan, PlanAdvice, PlanRequest, SequencePlan, SequenceStep
from curvometer_sequences import wording
from curvometer_sequences.rows import row_of
from curvometer_sequences.search import LARGEST_JUMP
from curvometer_sequences.shelf import Shelf

_CURVED_DEG = 10.0
_SMALL = (6, 8, 10)


def recommend_hand_files(request: PlanRequest) -> SequencePlan | NoPlan:
    """Plan with hand files of taper .02 only, one size after the other up to 15, no jump larger than from 10 to 15.

    Parameters
    ----------
    request
        Curve, findings, shelf.

    Returns
    -------
    SequencePlan or NoPlan
        Where neither size 6 nor 8 is at length, the small files only: after them the canal is planned again.
    """
    row, length = row_of(request), request.working_length_mm
    if row == "R18" or length is None:
        return _without(
            row,
            PlanAdvice.REFER,
            "There is no plan without image, scale, tracing and length, nor for a milk tooth.",
        )
    if row == "R15":
        return _without(
            row,
            PlanAdvice.REFER,
            "The apex is open: minimal cleaning by hand, no sequence; an apical barrier comes next.",
        )
    depth = request.exploration.explored_depth_mm if row == "R13" else length
    shelf = Shelf(request.inventory, posterior=request.is_posterior)
    if row in ("R13", "R14", "R17"):
        return _small_files(row, depth, shelf, request)
    files = _up_to_15(depth, shelf, request.exploration.size_at_length)
    if files is None:
        return _without(
            row,
            PlanAdvice.REFER,
            "The shelf lacks hand files without a gap up to 15/.02; add them, or refer.",
        )
    curved = request.angle_deg >= _CURVED_DEG
    steps = [wording.explore(piece, depth, curved=curved, why=_why(i)) for i, piece in enumerate(files[:-1])]
    steps.append(wording.confirm(files[-1], depth, after=None, curved=curved, last=True))
    reasons = [
        "Hand files keep the way where no motor is at hand, or where a curve is beyond every rotary budget."
    ]
    if row == "R16":
        reasons.append("The canal splits: each branch by itself, with two files together and a second view.")
    return _plan(row, steps, "hand 15/.02 loose at working length", reasons)


def _small_files(row: str, depth: float, shelf: Shelf, request: PlanRequest) -> SequencePlan | NoPlan:
    """Sizes 6, 8 and 10 to length, or in a blocked canal to the explored depth."""
    sizes = _SMALL[1:] if row == "R13" else _SMALL
    pieces = [piece for size in sizes if (piece := shelf.hand(size, to_mm=depth))]
    if not pieces:
        return _without(
            row,
            PlanAdvice.HAND_ONLY,
            "Write down how deep hand files reach, and have sizes 6, 8 and 10 at hand; else refer.",
        )
    curved = request.angle_deg >= _CURVED_DEG
    steps = [wording.explore(piece, depth, curved=curved, why=_why(i)) for i, piece in enumerate(pieces)]
    if row == "R13":
        reasons = ["The canal is blocked: hand files with a short apical bend to the explored depth only."]
        return _plan(
            row,
            steps,
            "size 10 passes to length twice, then plan again; refer after 20 to 30 minutes",
            reasons,
        )
    reasons = [
        "No size 8 is at working length: fresh small hand files, watch-winding; stop and refer without progress."
    ]
    return _plan(row, steps, "size 10 at working length, then plan again", reasons)


def _up_to_15(depth: float, shelf: Shelf, reached: int) -> list[Instrument] | None:
    """From the largest file that reached length, size by size, to 15; None where the shelf has a gap."""
    pieces = {size: piece for size in shelf.hand_sizes() if (piece := shelf.hand(size, to_mm=depth))}
    if 15 not in pieces:
        return None
    start = max((size for size in pieces if size <= min(reached, 10)), default=None)
    if reached >= 15:
        return [pieces[15]] if start is None else [pieces[start], pieces[15]]
    if start is None:
        return None
    sizes = [size for size in sorted(pieces) if start <= size <= 15]
    smooth = all(after <= LARGEST_JUMP * before for before, after in pairwise(sizes))
    return [pieces[size] for size in sizes] if smooth else None


def _why(number: int) -> str:
    return (
        "The largest file that went there before shows the way."
        if number == 0
        else "The next size, by one step."
    )


def _plan(row: str, steps: list[SequenceStep], ends_with: str, reasons: list[str]) -> SequencePlan:
    return SequencePlan(
        recommender="hand-files",
        rule=f"hand files, {row}",
        steps=tuple(steps),
        ends_with=ends_with,
        reasons=tuple(reasons),
        sources=(REFERENCES["sequence-practice"], REFERENCES["iqbal-2006"]),
    )


def _without(row: str, advice: PlanAdvice, reason: str) -> NoPlan:
    return NoPlan(rule=row, advice=advice, reasons=(reason,), sources=(REFERENCES["sequence-practice"],))
