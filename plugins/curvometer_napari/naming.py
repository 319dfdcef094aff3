"""Canal codes with a colour and a line style each, told apart by either alone."""

from __future__ import annotations

from dataclasses import dataclass

from curvometer import CanalName

WAYS = {
    CanalName.SINGLE: "single canal",
    CanalName.MB: "mesiobuccal",
    CanalName.MB2: "second mesiobuccal",
    CanalName.MM: "middle mesial",
    CanalName.ML: "mesiolingual",
    CanalName.DB: "distobuccal",
    CanalName.DL: "distolingual",
    CanalName.D: "distal",
    CanalName.P: "palatal",
    CanalName.B: "buccal",
    CanalName.L: "lingual",
}
"""The codes in words (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class LineStyle:
    """Colour as #rrggbb, and the lengths of dashes and gaps in screen pixels; no lengths: a whole line."""

    colour: str
    dashes: tuple[float, ...] = ()
    words: str = "solid"


SOLID: tuple[float, ...] = ()
DASHED = (10.0, 5.0)
DOTTED = (2.0, 4.0)
DASH_DOT = (10.0, 4.0, 2.0, 4.0)

# Okabe and Ito's colours that show on black and white bone alike, without black (Color Universal Design, 2008; from memory).
SKY_BLUE, ORANGE, GREEN, YELLOW = "#56b4e9", "#e69f00", "#009e73", "#f0e442"
BLUE, VERMILION, PURPLE = "#0072b2", "#d55e00", "#cc79a7"

STYLES = {
    CanalName.SINGLE: LineStyle(colour=SKY_BLUE),
    CanalName.MB: LineStyle(colour=SKY_BLUE),
    CanalName.MB2: LineStyle(colour=ORANGE, dashes=DASHED, words="dashed"),
    CanalName.MM: LineStyle(colour=YELLOW, dashes=DOTTED, words="dotted"),
    CanalName.ML: LineStyle(colour=PURPLE, dashes=DASH_DOT, words="dash-dot"),
    CanalName.DB: LineStyle(colour=GREEN, dashes=DASHED, words="dashed"),
    CanalName.DL: LineStyle(colour=VERMILION, dashes=DOTTED, words="dotted"),
    CanalName.D: LineStyle(colour=ORANGE),
    CanalName.P: LineStyle(colour=PURPLE),
    CanalName.B: LineStyle(colour=GREEN),
    CanalName.L: LineStyle(colour=YELLOW, dashes=DASH_DOT, words="dash-dot"),
}


def free_names(taken: set[CanalName]) -> list[CanalName]:
    """The codes that no canal has yet, in the order of `WAYS`."""
    return [name for name in WAYS if name not in taken]
