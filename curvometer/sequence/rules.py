"""The rules that every plan must pass, each with its source or the words that it has none."""

from __future__ import annotations

from dataclasses import dataclass

from curvometer.bibliography import (
    AAE_2022,
    AJINA_2022,
    BEAM_THEORY,
    ESTRELA_2008,
    OWN_STRAIN_LIFE,
    SEQUENCE_PRACTICE,
    USED_FILES_2021,
    Reference,
)


@dataclass(frozen=True, kw_only=True)
class SafetyRule:
    """One rule of the guard.

    Attributes
    ----------
    code
        Stable name; the documentation has a page of this name.
    words
        The rule in one sentence.
    sources
        Where it comes from; `SEQUENCE_PRACTICE` says that it is common practice without a source.
    """

    code: str
    words: str
    sources: tuple[Reference, ...]

    @property
    def standing(self) -> str:
        """How far the rule is more than practice, in a few words."""
        return "; ".join(
            f"{source.citation.split('.')[0]} ({source.how_read.value})" for source in self.sources
        )


@dataclass(frozen=True, kw_only=True)
class Violation:
    """What is wrong with a plan.

    Attributes
    ----------
    rule
        The rule that is broken.
    step
        Which step, from 0; None where it concerns the whole plan.
    text
        One sentence: what was found and what is needed.
    """

    rule: SafetyRule
    step: int | None
    text: str

    def __str__(self) -> str:
        """The sentence with the code of its rule."""
        place = "" if self.step is None else f"step {self.step + 1}: "
        return f"{place}{self.text} ({self.rule.code})"


_PRACTICE = (SEQUENCE_PRACTICE,)
SAFETY_RULES: dict[str, SafetyRule] = {
    rule.code: rule
    for rule in (
        SafetyRule(
            code="scale-and-tracing",
            words="Without a scale, a usable image, an accepted tracing and a working length there is no rotary plan.",
            sources=(SEQUENCE_PRACTICE, BEAM_THEORY),
        ),
        SafetyRule(
            code="blocked-canal",
            words="In a blocked canal, or one that splits suddenly, nothing is rotated.",
            sources=_PRACTICE,
        ),
        SafetyRule(
            code="open-apex",
            words="Where the apex is open by more than 1 mm, nothing is rotated.",
            sources=(SEQUENCE_PRACTICE, AAE_2022),
        ),
        SafetyRule(
            code="primary-tooth", words="There is no rotary plan for a milk tooth.", sources=_PRACTICE
        ),
        SafetyRule(
            code="hand-first",
            words="No rotary instrument goes deeper than a hand file has gone before it.",
            sources=(SEQUENCE_PRACTICE, AJINA_2022),
        ),
        SafetyRule(
            code="length-after-six-or-eight",
            words="Nothing is rotated to length, or into the curve, before a size 6 or 8 hand file has reached length.",
            sources=(SEQUENCE_PRACTICE, AJINA_2022),
        ),
        SafetyRule(
            code="hand-confirms",
            words="A hand file confirms the depth between two rotary steps and at the end.",
            sources=_PRACTICE,
        ),
        SafetyRule(
            code="small-taper",
            words="Only taper .02 goes into a curve of radius 4 mm or less, or into an S.",
            sources=(SEQUENCE_PRACTICE, ESTRELA_2008),
        ),
        SafetyRule(
            code="budget-share",
            words="A step spends at most half of an instrument's design life, by the core's own mechanics.",
            sources=(OWN_STRAIN_LIFE,),
        ),
        SafetyRule(
            code="speed-limits",
            words="A rotary step has a speed within the maker's limits and a time; a hand step has no speed.",
            sources=_PRACTICE,
        ),
        SafetyRule(
            code="preflare-distance",
            words="A preflare ends at least 2 mm above the start of the curve.",
            sources=_PRACTICE,
        ),
        SafetyRule(
            code="on-the-shelf",
            words="Every instrument is on the shelf, fit for another use, and long enough for its depth and the stop.",
            sources=(SEQUENCE_PRACTICE, USED_FILES_2021),
        ),
        SafetyRule(
            code="within-the-canal",
            words="No rotary instrument goes beyond the working length, no hand file more than 1 mm.",
            sources=_PRACTICE,
        ),
        SafetyRule(
            code="true-numbers",
            words="A plan does not tell a smaller strain or budget share than the core computes.",
            sources=(BEAM_THEORY, OWN_STRAIN_LIFE),
        ),
    )
}
"""Every rule of `check_plan` by its code."""
