"""Work that two students can hardly have done independently: found by sorting, not by comparing everybody with everybody."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from curvometer.assessment.submission import Answer
from curvometer.calibration import CalibrationOrigin
from curvometer.centreline import TracedBy
from curvometer.course.handed_in import FloatArray, HandedIn, TracePrint
from curvometer.geometry import resample

PLACES = 16
"""Places along a line that are compared."""
SAME_PX = 0.03
"""Lines that are nowhere farther apart, after one is moved onto the other, are the same. Two careful people differ by some
tenths of a pixel at the least; a copy through any file keeps hundredths."""
LEAST_CLICKS = 6
"""Places set by a person that two students must share, over all images. Two clicks on whole pixels can agree by chance, and
the program draws the same line between the same clicks."""
LEAST_SCALES = 3
"""Images on which two students must share a scale to nine digits."""
COMMON_SHARE = 0.25
"""A scale that a quarter of a class shares comes from the image or the task, not from a neighbour."""


class Shared(NamedTuple):
    """Students with the same work.

    Attributes
    ----------
    members
        Indices of the files.
    images
        On which any two of them share it.
    moved_px
        How far the farthest copy was moved; 0 where nothing was moved.
    """

    members: tuple[int, ...]
    images: tuple[str, ...]
    moved_px: float = 0.0


def trace_print(answer: Answer) -> TracePrint | None:
    """What is compared of one answer; None without a tracing."""
    if answer.canal is None:
        return None
    traced = answer.canal.centreline
    points = np.array(traced.points_xy)[:, ::-1]
    if tuple(points[-1]) < tuple(points[0]):
        points = points[::-1]
    by_hand = traced.traced_by in (TracedBy.POINTS, TracedBy.HAND)
    clicks = len(points) if by_hand else len(traced.anchors_xy or ())
    places = resample(points, PLACES)
    middle = places.mean(axis=0)
    return TracePrint(shape_rc=places - middle, middle_rc=middle, clicks=clicks)


def found_scale(answer: Answer) -> float | None:
    """The scale that a student found by a known length; None for one that was stated or read from the file."""
    scale = answer.calibration
    if scale is None or scale.origin is not CalibrationOrigin.KNOWN_LENGTH:
        return None
    return scale.mm_per_pixel


def same_tracings(files: Sequence[HandedIn]) -> list[Shared]:
    """Groups of students of one exercise whose lines are the same, moved or not."""
    clicks: Counter[tuple[int, int]] = Counter()
    images: dict[tuple[int, int], list[str]] = defaultdict(list)
    moved: dict[tuple[int, int], float] = defaultdict(float)
    for image in _images(each.prints for each in files):
        who = [i for i, each in enumerate(files) if image in each.prints]
        prints = [files[i].prints[image] for i in who]
        for a, b in _close(np.array([each.shape_rc.ravel() for each in prints])):
            pair = (who[a], who[b])
            if files[pair[0]].student == files[pair[1]].student:
                continue
            clicks[pair] += min(prints[a].clicks, prints[b].clicks)
            images[pair].append(image)
            gap = float(np.hypot(*(prints[a].middle_rc - prints[b].middle_rc)))
            moved[pair] = max(moved[pair], gap if gap > SAME_PX else 0.0)
    pairs = [pair for pair, count in clicks.items() if count >= LEAST_CLICKS]
    return [
        Shared(members, tuple(names), max(moved[pair] for pair in pairs if pair[0] in members))
        for members, names in _grouped(pairs, images)
    ]


def same_scales(files: Sequence[HandedIn], *, but: Iterable[Shared] = ()) -> list[Shared]:
    """Groups of students of one exercise who found the same scale to nine digits on several images.

    Parameters
    ----------
    files
        Of one exercise.
    but
        Groups that are told of already.
    """
    told = {pair for group in but for pair in combinations(group.members, 2)}
    images: dict[tuple[int, int], list[str]] = defaultdict(list)
    for image in _images(each.scales for each in files):
        alike: dict[str, list[int]] = defaultdict(list)
        for i, each in enumerate(files):
            if image in each.scales:
                alike[f"{each.scales[image]:.8e}"].append(i)
        for members in alike.values():
            if len(members) > max(2, COMMON_SHARE * len(files)):
                continue
            for pair in combinations(members, 2):
                if pair not in told and files[pair[0]].student != files[pair[1]].student:
                    images[pair].append(image)
    pairs = [pair for pair, names in images.items() if len(names) >= LEAST_SCALES]
    return [Shared(members, tuple(names)) for members, names in _grouped(pairs, images)]


def _images(tables: Iterable[Mapping[str, object]]) -> list[str]:
    return sorted({image for table in tables for image in table})


def _close(shapes: FloatArray) -> Iterator[tuple[int, int]]:
    """Pairs of rows that differ by no more than `SAME_PX` in any column: sorted by one column, then neighbours only."""
    if len(shapes) < 2:
        return
    by = int(np.argmax(shapes.std(axis=0)))
    order = np.argsort(shapes[:, by], kind="stable")
    laid = shapes[order]
    ends = np.searchsorted(laid[:, by], laid[:, by] + SAME_PX, side="right")
    for i, end in enumerate(ends):
        near = np.abs(laid[i + 1 : end] - laid[i]).max(axis=1, initial=0.0) <= SAME_PX
        for j in np.flatnonzero(near) + i + 1:
            a, b = sorted((int(order[i]), int(order[j])))
            yield a, b


def _grouped(
    pairs: Sequence[tuple[int, int]], images: Mapping[tuple[int, int], Sequence[str]]
) -> Iterator[tuple[tuple[int, ...], list[str]]]:
    """Everybody who is linked to somebody of a group belongs to it."""
    parent: dict[int, int] = {}

    def root(i: int) -> int:
        while parent.setdefault(i, i) != i:
            i = parent[i]
        return i

    for a, b in pairs:
        parent[root(b)] = root(a)
    groups: dict[int, set[int]] = defaultdict(set)
    names: dict[int, set[str]] = defaultdict(set)
    for pair in pairs:
        groups[root(pair[0])] |= set(pair)
        names[root(pair[0])] |= set(images[pair])
    for first in sorted(groups, key=lambda each: min(groups[each])):
        yield tuple(sorted(groups[first])), sorted(names[first])
