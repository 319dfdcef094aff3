"""The sets that come with the program: published ones, and one of its own that says so.

Each limit says on which side a number counts that is the limit itself. Where the source writes "10 to 30" for the
middle class and "above 30" for the next, 10 and 30 both belong to the middle class.
"""

from __future__ import annotations

from curvometer.bibliography import (
    AAE_2010,
    AAE_2022,
    COMPOSITE_RULE,
    ESTRELA_2008,
    RCS_2001,
    SCHNEIDER_1971,
    HowRead,
    Reference,
)
from curvometer.curvature.form import STRAIGHT_BELOW_DEG
from curvometer.difficulty.criteria import (
    AggregationRule,
    Answer,
    Condition,
    CriteriaError,
    CriteriaSet,
    DifficultyCriterion,
    Limit,
)

_SOURCE, _SECOND, _MEMORY = HowRead.SOURCE, HowRead.SECONDARY, HowRead.MEMORY
_OURS, _PRACTICE = HowRead.DERIVED, HowRead.COMMON_PRACTICE

S_SHAPE = Limit(value=STRAIGHT_BELOW_DEG, in_upper=True, how_read=_OURS)
"""A turn to the other side from 5 degrees on makes an S: our limit, the forms only say "S-shaped"."""
CORONAL_THIRD = Limit(value=2.0 / 3.0, in_upper=False, how_read=_OURS)
"""Start of the curve over length of the canal, from the foramen: above two thirds it starts in the coronal third."""


def _answers(how_read: HowRead, **levels: int) -> tuple[Answer, ...]:
    return tuple(
        Answer(answer=name.replace("_", "-"), level=level, how_read=how_read if level else _SECOND)
        for name, level in levels.items()
    )


def _limits(*limits: tuple[float, bool, HowRead]) -> tuple[Limit, ...]:
    return tuple(Limit(value=value, in_upper=in_upper, how_read=how) for value, in_upper, how in limits)


def _aae(source: Reference, edition: str, classes: tuple[str, str, str], easy: HowRead) -> CriteriaSet:
    """Build the American form; both editions share their limits and differ in words and in how they were read."""

    def factor(code: str, title: str, **options: object) -> DifficultyCriterion:
        return DifficultyCriterion(code=code, title=title, source=source, edition=edition, **options)  # type: ignore[arg-type]

    def three(value: float, upper: float) -> tuple[Limit, ...]:
        # "below 10" is easy, "10 to 30" moderate, "above 30" high: both limits are moderate.
        return _limits((value, True, easy), (upper, False, _MEMORY))

    up = (0, 1, 2)
    return CriteriaSet(
        name=f"aae-{edition}",
        title=f"American endodontists' form, {edition}",
        edition=edition,
        classes=classes,
        source=source,
        rule=AggregationRule(
            words=f"one or two {classes[1]} factors: {classes[1]}; three of them, or one {classes[2]}: {classes[2]}",
            lift_from=3,
        ),
        criteria=(
            factor(
                "curvature", "canal curvature (Schneider angle)", quantity="schneider_angle",
                limits=three(10.0, 30.0), levels=up, essential=True,
            ),
            factor(
                "s_shape", "S-shaped canal", quantity="opposite_turning", fact="s_shape",
                limits=(S_SHAPE,), levels=(0, 2), answers=_answers(_MEMORY, no=0, yes=2),
            ),
            factor("apex", "opening of the apex", quantity="apex_opening_mm", limits=three(1.0, 1.5), levels=up),
            factor(
                "visibility", "canal visibility", fact="visibility",
                answers=_answers(_MEMORY, clear=0, narrowed=1, not_visible=2),
            ),
            factor(
                "inclination", "tooth inclination", quantity="inclination_deg", limits=three(10.0, 30.0), levels=up
            ),
            factor("rotation", "tooth rotation", quantity="rotation_deg", limits=three(10.0, 30.0), levels=up),
            factor(
                "position", "position in the arch", fact="position",
                answers=(
                    Answer(answer="anterior", level=0, how_read=easy),
                    Answer(answer="premolar", level=0, how_read=easy),
                    Answer(answer="first-molar", level=1, how_read=_MEMORY),
                    Answer(answer="second-or-third-molar", level=2, how_read=_MEMORY),
                ),
            ),
            factor(
                "crown_axis", "crown axis against root axis", fact="crown_axis",
                answers=_answers(_MEMORY, in_line=0, moderate=1, significant=2),
            ),
            factor(
                "root_form", "form of roots and canals", fact="root_form",
                answers=_answers(_MEMORY, usual=0, unusual=1, complex=2),
            ),
            factor(
                "length", "length of the tooth", quantity="tooth_length_mm",
                limits=_limits((25.0, False, _MEMORY)), levels=(0, 2),
            ),
            factor(
                "resorption", "resorption", fact="resorption",
                answers=_answers(_MEMORY, none=0, minimal=1, extensive=2),
            ),
            factor(
                "previous_treatment", "previous treatment", fact="previous_treatment",
                answers=_answers(
                    _MEMORY, none=0, access=1, poor_filling=2, short_filling=2, full_filling=2, complication=2
                ),
            ),
            factor("trauma", "trauma", fact="trauma", answers=_answers(_MEMORY, none=0, moderate=1, severe=2)),
            factor(
                "other_moderate", "further moderate factors of the form", quantity="other_moderate",
                limits=_limits((1.0, True, _SOURCE)), levels=(0, 1), counted=True,
            ),
            factor(
                "other_high", "further high factors of the form", quantity="other_high",
                limits=_limits((1.0, True, _SOURCE)), levels=(0, 2),
            ),
        ),
    )  # fmt: skip


def _rcs() -> CriteriaSet:
    """Build the English surgeons' index: below 15, 15 to 40, above 40 degrees."""

    def factor(code: str, title: str, **options: object) -> DifficultyCriterion:
        return DifficultyCriterion(code=code, title=title, source=RCS_2001, edition="2001", **options)  # type: ignore[arg-type]

    return CriteriaSet(
        name="rcs-2001",
        title="English surgeons' index, 2001",
        edition="2001",
        classes=("complexity 1", "complexity 2", "complexity 3"),
        source=RCS_2001,
        rule=AggregationRule(words="the highest code counts; a modifying factor raises it by one, once"),
        criteria=(
            factor(
                "curvature", "canal curvature (Schneider angle)", quantity="schneider_angle",
                limits=_limits((15.0, True, _MEMORY), (40.0, False, _MEMORY)), levels=(0, 1, 2), essential=True,
            ),
            factor(
                "negotiable", "canal negotiable over its whole length", fact="negotiable",
                answers=_answers(_MEMORY, no=2, yes=0),
            ),
            factor(
                "root_development", "root development", fact="root_development",
                answers=_answers(_MEMORY, complete=0, incomplete=1),
            ),
            factor(
                "previous_treatment", "previous treatment", fact="previous_treatment",
                answers=_answers(
                    _MEMORY, none=0, access=0, poor_filling=0, short_filling=1, full_filling=2, complication=2
                ),
            ),
            factor(
                "resorption", "resorption", fact="resorption",
                answers=_answers(_MEMORY, none=0, minimal=2, extensive=2),
            ),
            factor(
                "modifying", "modifying factors", fact="modifying_factors", modifier=True,
                answers=_answers(_MEMORY, no=0, yes=1),
            ),
        ),
    )  # fmt: skip


def _schneider() -> CriteriaSet:
    """Build Schneider's classes; the gaps that the source leaves are classes here, told as gaps."""
    angle = DifficultyCriterion(
        code="curvature",
        title="canal curvature (Schneider angle)",
        source=SCHNEIDER_1971,
        edition="1971",
        quantity="schneider_angle",
        limits=_limits(
            (5.0, False, _SECOND), (10.0, True, _SECOND), (20.0, False, _SECOND), (25.0, True, _SECOND)
        ),
        levels=(0, 1, 2, 3, 4),
        essential=True,
    )
    return CriteriaSet(
        name="schneider-1971",
        title="Schneider's classes, 1971",
        edition="1971",
        classes=(
            "straight",
            "between straight and moderate",
            "moderate",
            "between moderate and severe",
            "severe",
        ),
        source=SCHNEIDER_1971,
        rule=AggregationRule(words="the angle alone"),
        criteria=(angle,),
        for_referral=False,
    )


def _radius() -> CriteriaSet:
    radius = DifficultyCriterion(
        code="radius",
        title="radius (three points)",
        source=ESTRELA_2008,
        edition="2008",
        quantity="three_point_radius",
        limits=_limits((4.0, False, _SECOND), (8.0, False, _SECOND)),
        levels=(2, 1, 0),
        essential=True,
    )
    return CriteriaSet(
        name="radius",
        title="radius classes, 2008",
        edition="2008",
        classes=("mild", "moderate", "severe"),
        source=ESTRELA_2008,
        rule=AggregationRule(words="the radius alone"),
        criteria=(radius,),
        for_referral=False,
    )


def _composite() -> CriteriaSet:
    """Build the tool's own composite; radius and place of the curve count from an angle of 10 degrees on."""
    curved = Condition(quantity="schneider_angle", limit=Limit(value=10.0, in_upper=True, how_read=_PRACTICE))

    def factor(code: str, title: str, **options: object) -> DifficultyCriterion:
        return DifficultyCriterion(code=code, title=title, source=COMPOSITE_RULE, edition="1", **options)  # type: ignore[arg-type]

    return CriteriaSet(
        name="curvometer-composite",
        title="curvometer's own composite",
        edition="1",
        classes=("low", "moderate", "high"),
        source=COMPOSITE_RULE,
        rule=AggregationRule(words="the hardest factor counts"),
        criteria=(
            factor(
                "curvature", "canal curvature (Schneider angle)", quantity="schneider_angle",
                limits=_limits((10.0, True, _PRACTICE), (30.0, False, _PRACTICE)), levels=(0, 1, 2), essential=True,
            ),
            factor(
                "radius", "smallest radius", quantity="minimum_radius", only_if=curved,
                limits=_limits((4.0, False, _PRACTICE), (8.0, False, _PRACTICE)), levels=(2, 1, 0),
            ),
            factor(
                "s_shape", "S-shaped canal", quantity="opposite_turning", fact="s_shape",
                limits=(S_SHAPE,), levels=(0, 2), answers=_answers(_PRACTICE, no=0, yes=2),
            ),
            factor(
                "visibility", "canal visibility", fact="visibility",
                answers=_answers(_PRACTICE, clear=0, narrowed=1, not_visible=2),
            ),
            factor(
                "location", "curve that starts in the coronal third", quantity="curve_start_share",
                fact="curve_location", only_if=curved, limits=(CORONAL_THIRD,), levels=(0, 1),
                answers=_answers(_PRACTICE, apical=0, middle=0, coronal=1),
            ),
        ),
    )  # fmt: skip


PUBLISHED_CRITERIA: dict[str, CriteriaSet] = {
    criteria.name: criteria
    for criteria in (
        _aae(AAE_2022, "2022", ("low", "moderate", "high"), _SECOND),
        _aae(AAE_2010, "2010", ("minimal", "moderate", "high"), _MEMORY),
        _rcs(),
        _schneider(),
        _radius(),
        _composite(),
    )
}
"""Every set that comes with the program, by name."""

CURRENT_CRITERIA = ("aae-2022", "rcs-2001", "schneider-1971", "radius", "curvometer-composite")
"""The sets that are shown when nobody names one: all but the older wording of the same form."""


def criteria_set(criteria: str | CriteriaSet) -> CriteriaSet:
    """Find a set by its name; a set comes back as it is.

    Raises
    ------
    CriteriaError
        When there is no set of that name.
    """
    if isinstance(criteria, CriteriaSet):
        return criteria
    if criteria not in PUBLISHED_CRITERIA:
        names = ", ".join(PUBLISHED_CRITERIA)
        raise CriteriaError(
            f"there are no criteria {criteria!r}: name one of {names}, or load a TOML file of your own"
        )
    return PUBLISHED_CRITERIA[criteria]
