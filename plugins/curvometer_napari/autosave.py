"""What keeps a tracing through a crash: the case as a small file, written whole at every settled step.

A file belongs to one image in one window. It is offered at the next start, and not while its window still runs. Positions
in the file are x, y, as in everything that curvometer writes.
"""

from __future__ import annotations

import datetime as dt
import logging
import os
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from platformdirs import user_state_path

from curvometer import CanalName, Radiograph, Structure
from curvometer_napari.case import Case, Display, PointRC, ScaleObject, Tracing
from curvometer_napari.kept_steps import KeptSteps, new_key, read_document, stamp
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated, beside_the_tooth, stated_from_plain, stated_to_plain

VERSION = 1
"""Raise it when a reader of the old form would misread the new one."""

Plain = dict[str, Any]

log = logging.getLogger("curvometer_napari")


def state_folder() -> Path:
    """Folder for tracings and logs: the system's own for such things, or ``CURVOMETER_STATE_DIR``."""
    named = os.environ.get("CURVOMETER_STATE_DIR")
    return Path(named) if named else user_state_path("curvometer", appauthor=False)


@dataclass(frozen=True, kw_only=True)
class Saved:
    """A case that an earlier window left.

    Attributes
    ----------
    source
        The image file's path as it was opened.
    sha256
        Hash of the image file's bytes: another hash means another image.
    case
        What had been done to it.
    when
        Time of the last step, with its zone.
    path
        The file that holds all this.
    """

    source: str
    sha256: str
    case: Case
    when: dt.datetime
    path: Path


class Autosave:
    """Keeps one window's cases, and finds those that other windows left; see `KeptSteps` for how.

    Parameters
    ----------
    folder
        Where the files are; `state_folder` / "tracings" when None. It is made when first needed.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = state_folder() / "tracings" if folder is None else folder
        self._kept = KeptSteps(self.folder)
        self._radiograph: Radiograph | None = None
        self._key = ""
        self._told = False

    def keep(self, session: Session) -> None:
        """Write the case as it is now; a drag under way waits for its end, and an image without a file is not kept.

        A file that holds nothing worth keeping is removed. When the file cannot be written the session tells so, once.
        """
        radiograph = session.radiograph
        if radiograph is None or not session.source or not session.settled:
            return
        if radiograph is not self._radiograph:
            # Each opening gets a name of its own: the tracing on the image before must not be overwritten.
            self._radiograph, self._key = radiograph, new_key()
        try:
            if worth_keeping(session.case):
                document = _document(session.source, radiograph.sha256, session.case)
                self._kept.keep(self._key, document, partial(self._tell_from_thread, session))
            else:
                self._kept.forget(self._key)
        except OSError as error:
            self._tell_once(session, error)

    def pending(self) -> list[Saved]:
        """Give what windows that no longer run have left, newest first.

        A file that cannot be read, or that a newer version wrote, is left where it is, with a line in the log.
        """
        return sorted(self._kept.left(_read), key=lambda saved: saved.when, reverse=True)

    def discard(self, saved: Saved) -> None:
        """Delete what was left."""
        self._kept.discard(saved.path)

    def flush(self) -> None:
        """Wait until all steps are on the disk."""
        self._kept.flush()

    def close(self) -> None:
        """Wait until all steps are on the disk, and say that this window is closed: its files are offered from now on."""
        self._kept.close()

    def _tell_from_thread(self, session: Session, error: OSError) -> None:
        """Tell in the window's thread; a session that is closed tells nobody any more."""
        with suppress(RuntimeError):
            session.worker.ask(
                "autosave", lambda: error, lambda found: self._tell_once(session, found), lambda _: None
            )

    def _tell_once(self, session: Session, error: OSError) -> None:
        log.warning("the tracing cannot be kept in %s", self.folder, exc_info=error)
        if not self._told:
            self._told = True
            reason = (error.strerror or type(error).__name__).lower()
            session.told.emit(
                f"The tracing cannot be kept for the next start ({reason}): free some space in {self.folder},"
                " or save a record before closing."
            )


def worth_keeping(case: Case) -> bool:
    """Tell whether anything was clicked, or stated of this tooth; how the image is shown alone is not worth it."""
    clicked = case.scale_objects or case.scale_draft_rc or any(t.anchors_rc for t in case.tracings)
    return bool(clicked) or case.stated != beside_the_tooth(case.stated)


def case_to_plain(case: Case) -> Plain:
    """Put a case into the form of JSON, positions as x, y."""
    display = case.display
    return {
        "display": {
            "quarter_turns": display.quarter_turns,
            "mirrored": display.mirrored,
            "inverted": display.inverted,
            "enhanced": display.enhanced,
            "window": None if display.window is None else [float(value) for value in display.window],
        },
        "scale_objects": [
            {
                "clicks_xy": _to_xy(item.clicks_rc),
                "length_mm": float(item.length_mm),
                "tolerance_mm": float(item.tolerance_mm),
            }
            for item in case.scale_objects
        ],
        "scale_draft_xy": _to_xy(case.scale_draft_rc),
        "tracings": [
            {
                "name": str(tracing.name),
                "structure": str(tracing.structure),
                "anchors_xy": _to_xy(tracing.anchors_rc),
                "hand_legs": sorted(tracing.hand_legs),
                "accepted": tracing.accepted,
            }
            for tracing in case.tracings
        ],
        "selected": None if case.selected is None else str(case.selected),
        "stated": stated_to_plain(case.stated),
    }


def case_from_plain(plain: Plain) -> Case:
    """Read what `case_to_plain` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        When something is missing or is not what it should be.
    """
    display = plain["display"]
    return Case(
        display=Display(
            quarter_turns=int(display["quarter_turns"]) % 4,
            mirrored=bool(display["mirrored"]),
            inverted=bool(display["inverted"]),
            enhanced=bool(display["enhanced"]),
            window=None if display["window"] is None else _pair(display["window"]),
        ),
        scale_objects=tuple(
            ScaleObject(
                clicks_rc=_to_rc(item["clicks_xy"]),
                length_mm=float(item["length_mm"]),
                tolerance_mm=float(item["tolerance_mm"]),
            )
            for item in plain["scale_objects"]
        ),
        scale_draft_rc=_to_rc(plain["scale_draft_xy"]),
        tracings=tuple(_tracing(entry) for entry in plain["tracings"]),
        selected=None if plain["selected"] is None else CanalName(plain["selected"]),
        # Older programs stated nothing; a reader of theirs loses nothing that it could have shown.
        stated=stated_from_plain(plain["stated"]) if "stated" in plain else Stated(),
    )


def _tracing(entry: Plain) -> Tracing:
    anchors_rc = _to_rc(entry["anchors_xy"])
    hand_legs = frozenset(int(leg) for leg in entry["hand_legs"])
    if not all(0 <= leg < len(anchors_rc) - 1 for leg in hand_legs):
        raise ValueError(f"the legs {sorted(hand_legs)} do not fit {len(anchors_rc)} anchors")
    return Tracing(
        name=CanalName(entry["name"]),
        structure=Structure(entry["structure"]),
        anchors_rc=anchors_rc,
        hand_legs=hand_legs,
        accepted=bool(entry["accepted"]),
    )


def _to_xy(points_rc: Iterable[PointRC]) -> list[list[float]]:
    return [[float(col), float(row)] for row, col in points_rc]


def _to_rc(points_xy: Iterable[Any]) -> tuple[PointRC, ...]:
    return tuple((y, x) for x, y in map(_pair, points_xy))


def _pair(values: Any) -> tuple[float, float]:
    first, second = values
    return float(first), float(second)


def _document(source: str, sha256: str, case: Case) -> Plain:
    return {
        **stamp(VERSION),
        "source": str(Path(source).absolute()),
        "sha256": sha256,
        "case": case_to_plain(case),
    }


def _read(path: Path) -> Saved | None:
    try:
        return _saved(path)
    except (OSError, KeyError, TypeError, ValueError, AttributeError, RecursionError, OverflowError) as error:
        log.warning("%s is not offered: %s", path, error)
        return None


def _saved(path: Path) -> Saved | None:
    if (found := read_document(path, VERSION)) is None:
        return None
    document, when = found
    source, sha256 = str(document["source"]), str(document["sha256"])
    case = case_from_plain(document["case"])
    return Saved(source=source, sha256=sha256, case=case, when=when, path=path)
