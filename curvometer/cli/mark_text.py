"""Marks as text for a person, and as plain values for ``--json``."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from curvometer.assessment.feedback_text import number
from curvometer.assessment.marks import ImageMark, ItemMark, SheetMark
from curvometer.assessment.rubric import Rubric


def mark_text(mark: SheetMark, rubric: Rubric, *, source: str, pictures: Mapping[str, Path]) -> str:
    """Tell one student's marks.

    Parameters
    ----------
    mark, rubric
        What was marked, and by what.
    source
        Name of the submission's file.
    pictures
        Where the picture of an image is, by the image's name.
    """
    occasion = f", occasion {mark.occasion}" if mark.occasion > 1 else ""
    lines = [f"{mark.student}, exercise {mark.exercise}{occasion}: {mark.percent:.0f} %   ({source})"]
    lines += [f"Remark: {remark}" for remark in mark.remarks]
    for image in mark.images:
        lines += ["", *_image(image)]
        if image.image in pictures:
            lines.append(f"  Picture: {pictures[image.image]}")
    lines += [
        "",
        f"Rubric: {rubric.title} ({rubric.source}). Every number is worked out anew from the tracing.",
    ]
    return "\n".join(lines)


def _image(image: ImageMark) -> list[str]:
    lines = [f"{image.image}: {number(image.points)} of {number(image.out_of)} points"]
    if image.errors:
        lines.append(f"  Errors: {', '.join(image.errors)}")
    if image.cap_reason:
        lines.append(f"  {image.cap_reason}")
    reasons = {item.reason for item in image.items}
    if len(reasons) == 1 and len(image.items) > 1:
        return [*lines, f"  {reasons.pop()}"]
    width = max((len(item.title) for item in image.items), default=0)
    return [*lines, *(line for item in image.items for line in _item(item, width))]


def _item(item: ItemMark, width: int) -> list[str]:
    points = f"{number(item.points)} / {number(item.out_of)}"
    lines = [f"  {points:>9}  {item.title:<{width}}  {item.found}"]
    return lines if item.points == item.out_of else [*lines, f"  {'':>9}  {item.reason}"]


def mark_to_plain(mark: SheetMark, rubric: Rubric, pictures: Mapping[str, Path]) -> dict[str, Any]:
    """The same as a dictionary, ready for `json.dumps`."""
    return {
        "student": mark.student,
        "exercise": mark.exercise,
        "occasion": mark.occasion,
        "percent": mark.percent,
        "remarks": list(mark.remarks),
        "rubric": {"title": rubric.title, "source": rubric.source, "scoring": rubric.scoring.value},
        "images": [
            image_to_plain(image) | {"picture": _name(pictures.get(image.image))} for image in mark.images
        ],
    }


def image_to_plain(image: ImageMark) -> dict[str, Any]:
    """Marks of one image as a dictionary."""
    return {
        "image": image.image,
        "points": image.points,
        "out_of": image.out_of,
        "cap": image.cap,
        "cap_reason": image.cap_reason,
        "errors": [error.value for error in image.errors],
        "numbers": dict(image.numbers),
        "items": [
            {
                "code": item.code,
                "title": item.title,
                "points": item.points,
                "out_of": item.out_of,
                "found": item.found,
                "reason": item.reason,
            }
            for item in image.items
        ],
    }


def _name(path: Path | None) -> str | None:
    return None if path is None else str(path)
