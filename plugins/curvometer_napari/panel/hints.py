"""What a control does and which key on the image does it too, as a tooltip."""

from __future__ import annotations

from functools import cache


def hint(words: str, action: str = "") -> str:
    """Tell what a control does, with its key on the image when it has one."""
    key = key_of(action)
    return f"{words} (key on the image: {key})" if key else words


def key_of(action: str) -> str:
    """The key of an action as a person reads it; empty when it has none."""
    return _keys().get(action, "")


@cache
def _keys() -> dict[str, str]:
    from curvometer_napari.keys import KEYS, key_text  # noqa: PLC0415 - keys are of the image, not the panel

    # The first key of an action is the one that is told.
    return {row.action: key_text(row.key) for row in reversed(KEYS)}
