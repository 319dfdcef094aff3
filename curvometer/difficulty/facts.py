"""What a person states about a case: nothing here can be read off one radiograph by this program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from curvometer.difficulty.teeth import POSITIONS, check_canal, check_tooth, position_of
from curvometer.measurement import Quantity
from curvometer.radiograph import CurvometerError


class Operator(StrEnum):
    """Who would treat: student, general dentist, dentist with enhanced skills, specialist."""

    STUDENT = "student"
    GENERAL = "general"
    ENHANCED = "enhanced"
    SPECIALIST = "specialist"


YES_NO = ("no", "yes")
FACT_ANSWERS: Mapping[str, tuple[str, ...]] = {
    "visibility": ("clear", "narrowed", "not-visible"),
    "crown_axis": ("in-line", "moderate", "significant"),
    "root_form": ("usual", "unusual", "complex"),
    "resorption": ("none", "minimal", "extensive"),
    "previous_treatment": ("none", "access", "poor-filling", "short-filling", "full-filling", "complication"),
    "trauma": ("none", "moderate", "severe"),
    "curve_location": ("apical", "middle", "coronal"),
    "root_development": ("complete", "incomplete"),
    "s_shape": YES_NO,
    "negotiable": YES_NO,
    "modifying_factors": YES_NO,
    "position": POSITIONS,
}
"""Answers of each fact; `position` follows from the tooth."""

FACT_NUMBERS: Mapping[str, tuple[str, float]] = {
    "apex_opening_mm": ("mm", 10.0),
    "inclination_deg": ("deg", 90.0),
    "rotation_deg": ("deg", 180.0),
    "tooth_length_mm": ("mm", 40.0),
    "other_moderate": ("", 20.0),
    "other_high": ("", 20.0),
}
"""Stated numbers: unit, and the largest that is believed."""

FACT_WORDS: Mapping[str, str] = {
    "visibility": "how well canal and chamber can be seen",
    "crown_axis": "crown axis against root axis",
    "root_form": "form of roots and canals",
    "resorption": "resorption",
    "previous_treatment": "previous treatment",
    "trauma": "trauma",
    "curve_location": "third in which the curve starts",
    "root_development": "root development",
    "s_shape": "whether the canal is S-shaped",
    "negotiable": "whether the canal looks negotiable over its whole length",
    "modifying_factors": "modifying factors (medical history, mouth opening)",
    "position": "tooth number",
    "apex_opening_mm": "opening of the apex",
    "inclination_deg": "inclination of the tooth",
    "rotation_deg": "rotation of the tooth",
    "tooth_length_mm": "length of the tooth",
    "other_moderate": "number of further moderate factors of the form",
    "other_high": "number of further high factors of the form",
}


@dataclass(frozen=True, kw_only=True)
class CaseFacts:
    """What a person states; everything is optional, and None means that nobody said.

    Attributes
    ----------
    tooth
        ISO 3950 number, for example 46.
    canal
        Canal code, for example ``"MB"``.
    operator
        Who would treat.
    visibility, crown_axis, root_form, resorption, previous_treatment, trauma, curve_location, root_development
        Answers as listed in `FACT_ANSWERS`.
    s_shape, negotiable, modifying_factors
        Yes or no. A canal that was measured as S-shaped stays so, whatever is stated.
    apex_opening_mm, tooth_length_mm
        Millimetres.
    inclination_deg, rotation_deg
        Degrees, as deflections.
    other_moderate, other_high
        How many further factors of the form (patient, diagnosis, isolation ...) the person has ticked.

    Raises
    ------
    CurvometerError
        When an answer is unknown, a number impossible, or the tooth has no such canal.
    """

    tooth: int | None = None
    canal: str | None = None
    operator: Operator | None = None
    visibility: str | None = None
    crown_axis: str | None = None
    root_form: str | None = None
    resorption: str | None = None
    previous_treatment: str | None = None
    trauma: str | None = None
    curve_location: str | None = None
    root_development: str | None = None
    s_shape: bool | None = None
    negotiable: bool | None = None
    modifying_factors: bool | None = None
    apex_opening_mm: float | None = None
    inclination_deg: float | None = None
    rotation_deg: float | None = None
    tooth_length_mm: float | None = None
    other_moderate: int | None = None
    other_high: int | None = None

    def __post_init__(self) -> None:
        self._check_words()
        self._check_numbers()
        if self.tooth is not None:
            check_tooth(self.tooth)
            if self.canal is not None:
                check_canal(self.tooth, self.canal)

    def _check_words(self) -> None:
        for name, known in FACT_ANSWERS.items():
            value = getattr(self, name, None)
            if known is YES_NO and value is not None and not isinstance(value, bool):
                raise CurvometerError(f"{name} is {value!r}: state True or False")
            if known is not YES_NO and name != "position" and value is not None and value not in known:
                raise CurvometerError(f"{name} is {value!r}: state one of {', '.join(known)}")
        if self.operator is not None and self.operator not in list(Operator):
            raise CurvometerError(f"operator is {self.operator!r}: state one of {', '.join(Operator)}")

    def _check_numbers(self) -> None:
        for name, (unit, largest) in FACT_NUMBERS.items():
            value = getattr(self, name)
            if value is None:
                continue
            if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= largest:
                told = f" {unit}" if unit else ""
                raise CurvometerError(f"{name} is {value!r}: state a number from 0 to {largest:g}{told}")
        for name in ("other_moderate", "other_high"):
            if isinstance(getattr(self, name), float):
                raise CurvometerError(f"{name} counts factors: state a whole number")

    @property
    def position(self) -> str | None:
        """Place of the tooth in the arch, one of `POSITIONS`."""
        return None if self.tooth is None else position_of(self.tooth)

    def answer(self, name: str) -> str | None:
        """One stated answer as a word of `FACT_ANSWERS`; None when nobody said."""
        value = getattr(self, name)
        return YES_NO[value] if isinstance(value, bool) else value

    def numbers(self) -> dict[str, Quantity]:
        """The stated numbers as quantities without spread."""
        stated = {name: getattr(self, name) for name in FACT_NUMBERS}
        return {
            name: Quantity(value=float(v), lower=float(v), upper=float(v), unit=FACT_NUMBERS[name][0])
            for name, v in stated.items()
            if v is not None
        }
