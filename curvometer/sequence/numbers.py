"""The core's own strain and budget share of a step; what a plan says about itself is never believed."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from curvometer.instruments import Instrument
from curvometer.mechanics import BudgetShare, CanalCurve, LargestStrain, budget_share, largest_strain
from curvometer.sequence.plan import SequencePlan, SequenceStep
from curvometer.sequence.request import PlanRequest

LEAST_SECONDS = 3.0
"""A step is charged at least this time in the canal, the lower end of one insertion (common practice, no source)."""

_UNBENT = LargestStrain(
    value=0.0, lower=0.0, upper=0.0, at_from_foramen_mm=0.0, at_from_tip_mm=0.0, diameter_mm=0.0
)


def step_strain(instrument: Instrument, to_mm: float, request: PlanRequest) -> LargestStrain | None:
    """Largest strain of an instrument with its tip at a depth.

    Parameters
    ----------
    instrument
        Nominal shape.
    to_mm
        Depth of the tip from the reference point.
    request
        Curve and working length. The end of the working length is taken as the foramen: the deeper, the higher the strain.

    Returns
    -------
    LargestStrain or None
        None without curve or working length; 0 above the orifice.
    """
    if request.curve is None or request.working_length_mm is None:
        return None
    return _strain(instrument, request.curve, max(request.working_length_mm - to_mm, -1.0))


def step_share(
    instrument: Instrument, to_mm: float, request: PlanRequest, *, speed_rpm: float, seconds: float
) -> BudgetShare | None:
    """Share of the design life that a rotary instrument spends down to a depth; None without curve or working length.

    Parameters
    ----------
    instrument, to_mm, request
        As in `step_strain`.
    speed_rpm, seconds
        As in the step; at least `LEAST_SECONDS` are charged.
    """
    if request.curve is None or request.working_length_mm is None:
        return None
    tip = max(request.working_length_mm - to_mm, -1.0)
    return _share(instrument, request.curve, tip, speed_rpm, max(seconds, LEAST_SECONDS))


def with_core_numbers(plan: SequencePlan, request: PlanRequest) -> SequencePlan:
    """The same plan with strain and budget share of every step as the core computes them.

    A recommender may leave both out: whoever is asked by `ask_recommenders` gets these numbers in any case.
    """
    return replace(plan, steps=tuple(_numbered(step, request) for step in plan.steps))


def _numbered(step: SequenceStep, request: PlanRequest) -> SequenceStep:
    strain = step_strain(step.instrument, step.to_mm, request)
    share = None
    if step.is_rotary and step.speed_rpm is not None and step.seconds is not None:
        share = step_share(
            step.instrument, step.to_mm, request, speed_rpm=step.speed_rpm, seconds=step.seconds
        )
    return replace(step, strain_percent=None if strain is None else strain.percent, budget_share=share)


@lru_cache(maxsize=20_000)
def _strain(instrument: Instrument, curve: CanalCurve, tip_mm: float) -> LargestStrain:
    if tip_mm > curve.length_mm:
        return _UNBENT
    return largest_strain(instrument, curve, tip_from_foramen_mm=tip_mm)


@lru_cache(maxsize=20_000)
def _share(
    instrument: Instrument, curve: CanalCurve, tip_mm: float, speed_rpm: float, seconds: float
) -> BudgetShare:
    return budget_share(_strain(instrument, curve, tip_mm), speed_rpm=speed_rpm, seconds=seconds)
