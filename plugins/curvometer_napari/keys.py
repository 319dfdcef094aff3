"""The keys on the image: one table for binding them, for the help text and for the documentation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key, what it does in words, and the name of the action that `Pointer.act` runs."""

    key: str
    does: str
    action: str


class TakesKeys(Protocol):
    """A viewer or a layer of napari."""

    def bind_key(self, key_bind: str, func: Any = ..., *, overwrite: bool = ...) -> Any:
        """Run a function at a key; None takes the key away."""


def _keys(*rows: tuple[str, str, str]) -> tuple[Key, ...]:
    return tuple(Key(key=key, does=does, action=action) for key, does, action in rows)


KEYS = _keys(
    ("T", "trace a canal", "trace"),
    ("F", "click along a file of known length", "scale"),
    ("Enter", "accept the canal or the file in hand", "accept"),
    ("Backspace", "take the last click back", "take_back"),
    ("Escape", "give up what is in hand", "cancel"),
    ("H", "draw by hand, or follow the canal again", "hand"),
    ("Control-Z", "undo", "undo"),
    ("Control-Shift-Z", "redo", "redo"),
    ("Control-Y", "redo", "redo"),
    ("N", "next canal", "next_canal"),
    ("Delete", "delete the selected canal", "delete_canal"),
    ("Left", "move the crosshair by 1 pixel", "left"),
    ("Right", "move the crosshair by 1 pixel", "right"),
    ("Up", "move the crosshair by 1 pixel", "up"),
    ("Down", "move the crosshair by 1 pixel", "down"),
    ("Shift-Left", "move the crosshair by 10 pixels", "far_left"),
    ("Shift-Right", "move the crosshair by 10 pixels", "far_right"),
    ("Shift-Up", "move the crosshair by 10 pixels", "far_up"),
    ("Shift-Down", "move the crosshair by 10 pixels", "far_down"),
    ("P", "click at the crosshair; without a tool: pick an anchor up, put it down", "place"),
    ("W", "insert a waypoint at the crosshair, or remove the one there", "waypoint"),
    ("+", "zoom in", "zoom_in"),
    ("-", "zoom out", "zoom_out"),
    ("0", "show the whole image", "fit_view"),
    ("R", "rotate by a quarter turn", "rotate"),
    ("M", "mirror left and right", "mirror"),
    ("I", "invert", "invert"),
    ("E", "raise the local contrast (display only)", "enhance"),
    ("V", "hide the lines, or show them again", "show_lines"),
)
"""Every key, in the order of the work."""


def bind(provider: TakesKeys, act: Callable[[str], None]) -> None:
    """Bind all keys of a viewer or a layer; a layer's keys come before the viewer's, so both are needed."""
    for key in KEYS:
        provider.bind_key(key.key, _calling(act, key.action), overwrite=True)


def unbind(provider: TakesKeys) -> None:
    """Take the keys away again."""
    for key in KEYS:
        provider.bind_key(key.key, None, overwrite=True)


def key_text(key: str) -> str:
    """A key as a person reads it, like Ctrl+Shift+Z."""
    if len(key) == 1:
        return key
    return "+".join({"Control": "Ctrl"}.get(part, part) for part in key.split("-"))


def help_rows() -> list[tuple[str, str]]:
    """Keys and what they do, those of one meaning in one row."""
    rows: dict[str, list[str]] = {}
    for key in KEYS:
        rows.setdefault(key.does, []).append(key_text(key.key))
    return [(", ".join(keys), does) for does, keys in rows.items()]


def _calling(act: Callable[[str], None], action: str) -> Callable[[Any], None]:
    def run(_: Any) -> None:
        act(action)

    return run
