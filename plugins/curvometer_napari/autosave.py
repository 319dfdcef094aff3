"""What keeps a tracing through a crash: the case as a small file, written whole at every settled step.

A file belongs to one image in one window. It is offered at the next start, and not while its window still runs. Positions
in the file are x, y, as in everything that curvometer writes.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import tempfile
import uuid
import weakref
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

import psutil
from platformdirs import user_state_path

from curvometer import CanalName, Radiograph, Structure
from curvometer_napari.case import Case, Display, PointRC, ScaleObject, Tracing
from curvometer_napari.session import Session
from curvometer_napari.stated import Stated, beside_the_tooth, stated_from_plain, stated_to_plain

VERSION = 1
"""Raise it when a reader of the old form would misread the new one."""

LARGEST_FILE_BYTES = 4 * 2**20
"""Far above any case (some kB); keeps a wrong file from filling the memory."""

SAME_START_S = 60.0
"""A process of the same number that began this near is the same one: the system's clock may have been set meanwhile."""

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
    """Keeps one window's cases, and finds those that other windows left.

    Each step is a new file, there before `keep` returns, so that a crash of the program loses nothing. That it reaches the
    disk may take long: a thread waits for it and only then deletes the step before, so that the power may fail, too.

    Parameters
    ----------
    folder
        Where the files are; `state_folder` / "tracings" when None. It is made when first needed.
    """

    _open: ClassVar[weakref.WeakSet[Autosave]] = weakref.WeakSet()
    """Windows of this process, which may hold several."""

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = state_folder() / "tracings" if folder is None else folder
        self._radiograph: Radiograph | None = None
        self._key = ""
        self._newest: dict[str, int] = {}
        self._mine: set[str] = set()
        self._told = False
        self._syncing = ThreadPoolExecutor(max_workers=1, thread_name_prefix="curvometer autosave")
        Autosave._open.add(self)

    def keep(self, session: Session) -> None:
        """Write the case as it is now; a drag under way waits for its end, and an image without a file is not kept.

        A file that holds nothing worth keeping is removed. When the file cannot be written the session tells so, once.
        """
        radiograph = session.radiograph
        if radiograph is None or not session.source or not session.settled:
            return
        if radiograph is not self._radiograph:
            # Each opening gets a name of its own: the tracing on the image before must not be overwritten.
            self._radiograph, self._key = radiograph, uuid.uuid4().hex
        try:
            if worth_keeping(session.case):
                self._keep_step(session, _document(session.source, radiograph.sha256, session.case))
            else:
                self._count(self._key)  # what is being synced is not the newest any more
                _delete(self._steps(self._key))
        except OSError as error:
            self._tell_once(session, error)

    def _keep_step(self, session: Session, document: Plain) -> None:
        self._mine.add(self._key)
        key, step = self._key, self._count(self._key)
        _write(self._path(key, step), document)
        try:
            self._syncing.submit(self._sync, session, key, step)
        except RuntimeError:  # closed
            self._sync(session, key, step)

    def _count(self, key: str) -> int:
        self._newest[key] = self._newest.get(key, 0) + 1
        return self._newest[key]

    def _sync(self, session: Session, key: str, step: int) -> None:
        """Wait until a step is on the disk, and delete those before; a newer step's turn does for this one, too."""
        if step != self._newest[key]:
            return
        path = self._path(key, step)
        try:
            with path.open("rb+") as stream:
                os.fsync(stream.fileno())
            _delete(other for other in self._steps(key) if _step(other) < step)
        except FileNotFoundError:
            return  # taken back meanwhile
        except OSError as error:
            self._tell_from_thread(session, error)

    def _path(self, key: str, step: int) -> Path:
        return self.folder / f"{key}-{step}.json"

    def _steps(self, key: str) -> list[Path]:
        return [*self.folder.glob(f"{key}-*.json"), *self.folder.glob(f"{key}.json")]

    def pending(self) -> list[Saved]:
        """Give what windows that no longer run have left, newest first.

        A file that cannot be read, or that a newer version wrote, is left where it is, with a line in the log.
        """
        running = {key for window in Autosave._open for key in window._mine}
        newest: dict[str, Saved] = {}
        for path in sorted(self.folder.glob("*.json"), key=_step):
            if _key(path) not in running and (saved := _read(path)) is not None:
                newest[_key(path)] = saved
        return sorted(newest.values(), key=lambda saved: saved.when, reverse=True)

    def discard(self, saved: Saved) -> None:
        """Delete what was left."""
        try:
            _delete(self._steps(_key(saved.path)))
        except OSError:
            log.warning("%s cannot be deleted", saved.path, exc_info=True)

    def flush(self) -> None:
        """Wait until all steps are on the disk."""
        with suppress(RuntimeError):  # closed, so they are
            self._syncing.submit(lambda: None).result()

    def close(self) -> None:
        """Wait until all steps are on the disk, and say that this window is closed: its files are offered from now on."""
        self._syncing.shutdown(wait=True)
        Autosave._open.discard(self)

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
    process = psutil.Process()
    return {
        "version": VERSION,
        "saved": dt.datetime.now(dt.UTC).isoformat(),
        "source": str(Path(source).absolute()),
        "sha256": sha256,
        "process": {"number": process.pid, "started": process.create_time()},
        "case": case_to_plain(case),
    }


def _write(path: Path, document: Plain) -> None:
    """Write the whole file or nothing; that it is on the disk, another has to see to."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".tmp")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            json.dump(document, stream, allow_nan=False)
        Path(temporary).replace(path)
    except BaseException:
        Path(temporary).unlink(missing_ok=True)
        raise


def _key(path: Path) -> str:
    """Part of a file's name that all steps of one opening share."""
    return path.stem.partition("-")[0]


def _step(path: Path) -> int:
    number = path.stem.partition("-")[2]
    return int(number) if number.isdecimal() else 0


def _delete(paths: Iterable[Path]) -> None:
    for path in paths:
        path.unlink(missing_ok=True)


def _read(path: Path) -> Saved | None:
    try:
        return _saved(path)
    except (OSError, KeyError, TypeError, ValueError, AttributeError, RecursionError, OverflowError) as error:
        log.warning("%s is not offered: %s", path, error)
        return None


def _saved(path: Path) -> Saved | None:
    with path.open("rb") as stream:
        content = stream.read(LARGEST_FILE_BYTES + 1)
    if len(content) > LARGEST_FILE_BYTES:
        raise ValueError("too large for a tracing")
    document = json.loads(content, parse_constant=_refuse_constant)
    if document["version"] != VERSION:
        raise ValueError(f"version {document['version']}; this program reads {VERSION}")
    if _still_runs(document["process"]):
        return None
    when = dt.datetime.fromisoformat(document["saved"])
    if when.tzinfo is None:
        raise ValueError("a time without its zone")
    source, sha256 = str(document["source"]), str(document["sha256"])
    case = case_from_plain(document["case"])
    return Saved(source=source, sha256=sha256, case=case, when=when, path=path)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _still_runs(process: Plain) -> bool:
    number, started = int(process["number"]), float(process["started"])
    if number == os.getpid():
        return False  # `pending` knows the windows of this process that are open
    try:
        found: float = psutil.Process(number).create_time()
    except (psutil.NoSuchProcess, ValueError):
        return False
    except psutil.AccessDenied:
        return True
    return abs(found - started) < SAME_START_S
