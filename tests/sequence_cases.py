"""Pieces, steps, plans and requests that tests of sequences share."""

from __future__ import annotations

from curvometer.instruments import default_inventory, shortest_that_reaches
from curvometer.sequence import CaseContext, Exploration, SequencePlan, SequenceStep, what_if_request

SHELF = default_inventory()
WL = 21.0


def piece(name, inventory=SHELF, length=WL):
    """``"hand 08/.02"`` from the shelf."""
    kind, shape = name.split()
    size, taper = shape.split("/")
    found = shortest_that_reaches(
        inventory, kind=kind, size=int(size), taper=float(f"0{taper}"), working_length_mm=length
    )
    assert found is not None
    return found


def step(name, to_mm=WL, **options):
    tool = options.pop("instrument", None) or piece(name)
    if name.startswith("rotary"):
        options = {"role": "shape", "speed_rpm": 500.0, "seconds": 4.0, "pecks": 3, **options}
    return SequenceStep(instrument=tool, to_mm=to_mm, motion="", **{"role": "confirm", **options})


def plan(*steps):
    return SequencePlan(recommender="test", rule="test", steps=steps, ends_with="")


def request(curve=(40.0, 5.0, 5.0), inventory=SHELF, **found):
    """40 degrees, radius 5 mm, from 5 mm on in a canal of 12 mm; size 8 at 21 mm."""
    options = {name: found.pop(name) for name in ("s_shape", "second_angle_deg") if name in found}
    angle, radius, start = curve
    return what_if_request(
        angle_deg=angle,
        radius_mm=radius,
        curve_start_from_foramen_mm=start,
        canal_length_mm=12.0,
        exploration=Exploration(**{"working_length_mm": WL, "reached_size": 8, **found}),
        context=CaseContext(inventory=inventory),
        **options,
    )


HAND, END = "hand 08/.02", "hand 15/.02"
GOOD = plan(step("hand 08/.02"), step("rotary 10/.02"), step("hand 15/.02"))
"""Rotary 10/.02 to length between hand 8 and hand 15: passes in `request()`."""
