"""Small documents that outlive a crash: each step of a window's work is a new file, whole from the start.

A file belongs to one piece of work in one window, and all its steps share the beginning of their names. It is offered at
the next start, and not while its window still runs.
"""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import tempfile
import uuid
import weakref
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any, ClassVar, TypeVar

import psutil

LARGEST_FILE_BYTES = 4 * 2**20
"""Far above any work (some kB an image); keeps a wrong file from filling the memory."""

SAME_START_S = 60.0
"""A process of the same number that began this near is the same one: the system's clock may have been set meanwhile."""

T = TypeVar("T")
Plain = dict[str, Any]
Failed = Callable[[OSError], None]

log = logging.getLogger("curvometer_napari")


class KeptSteps:
    """Keeps one window's work as documents, and finds what other windows left.

    Each step is a new file, there before `keep` returns, so that a crash of the program loses nothing. That it reaches the
    disk may take long: a thread waits for it and only then deletes the step before, so that the power may fail, too.

    Parameters
    ----------
    folder
        Where the files are; it is made when first needed.
    """

    _open: ClassVar[weakref.WeakSet[KeptSteps]] = weakref.WeakSet()
    """Windows of this process, which may hold several."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._newest: dict[str, int] = {}
        self._mine: set[str] = set()
        self._syncing = ThreadPoolExecutor(max_workers=1, thread_name_prefix="curvometer autosave")
        KeptSteps._open.add(self)

    def keep(self, key: str, document: Plain, failed: Failed) -> None:
        """Write the newest step of a piece of work.

        Parameters
        ----------
        key
            From `new_key`.
        document
            What JSON can hold, with a `stamp`.
        failed
            Told, in another thread, when the file is there but does not reach the disk.

        Raises
        ------
        OSError
            When the file cannot be written; the step before is still there.
        """
        self._mine.add(key)
        step = self._count(key)
        _write(self._path(key, step), document)
        try:
            self._syncing.submit(self._sync, key, step, failed)
        except RuntimeError:  # closed
            self._sync(key, step, failed)

    def forget(self, key: str) -> None:
        """Delete all steps of a piece of work of this window.

        Raises
        ------
        OSError
            When one cannot be deleted.
        """
        self._count(key)  # what is being synced is not the newest any more
        _delete(self._steps(key))

    def left(self, read: Callable[[Path], T | None]) -> list[T]:
        """Read what windows that no longer run have left: of each piece of work the newest step that can be read."""
        running = {key for window in KeptSteps._open for key in window._mine}
        newest: dict[str, T] = {}
        for path in sorted(self.folder.glob("*.json"), key=_step):
            if _key(path) not in running and (found := read(path)) is not None:
                newest[_key(path)] = found
        return list(newest.values())

    def discard(self, path: Path) -> None:
        """Delete what was left, by one of its files."""
        try:
            _delete(self._steps(_key(path)))
        except OSError:
            log.warning("%s cannot be deleted", path, exc_info=True)

    def flush(self) -> None:
        """Wait until all steps are on the disk."""
        with suppress(RuntimeError):  # closed, so they are
            self._syncing.submit(lambda: None).result()

    def close(self) -> None:
        """Wait until all steps are on the disk, and say that this window is closed: its files are offered from now on."""
        self._syncing.shutdown(wait=True)
        KeptSteps._open.discard(self)

    def _count(self, key: str) -> int:
        self._newest[key] = self._newest.get(key, 0) + 1
        return self._newest[key]

    def _sync(self, key: str, step: int, failed: Failed) -> None:
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
            failed(error)

    def _path(self, key: str, step: int) -> Path:
        return self.folder / f"{key}-{step}.json"

    def _steps(self, key: str) -> list[Path]:
        return [*self.folder.glob(f"{key}-*.json"), *self.folder.glob(f"{key}.json")]


def new_key() -> str:
    """Name a piece of work as no other is named."""
    return uuid.uuid4().hex


def stamp(version: int) -> Plain:
    """Say in which form a document is, when it was written and by which process."""
    process = psutil.Process()
    return {
        "version": version,
        "saved": dt.datetime.now(dt.UTC).isoformat(),
        "process": {"number": process.pid, "started": process.create_time()},
    }


def read_document(path: Path, version: int) -> tuple[Plain, dt.datetime] | None:
    """Read a document and when it was written; None while the process that wrote it still runs.

    Raises
    ------
    OSError, KeyError, TypeError, ValueError, RecursionError
        When the file cannot be read, is no such document, or has another version.
    """
    with path.open("rb") as stream:
        content = stream.read(LARGEST_FILE_BYTES + 1)
    if len(content) > LARGEST_FILE_BYTES:
        raise ValueError("too large for a piece of work")
    document = json.loads(content, parse_constant=_refuse_constant)
    if document["version"] != version:
        raise ValueError(f"version {document['version']}; this program reads {version}")
    if _still_runs(document["process"]):
        return None
    when = dt.datetime.fromisoformat(document["saved"])
    if when.tzinfo is None:
        raise ValueError("a time without its zone")
    return document, when


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
    """Part of a file's name that all steps of one piece of work share."""
    return path.stem.partition("-")[0]


def _step(path: Path) -> int:
    number = path.stem.partition("-")[2]
    return int(number) if number.isdecimal() else 0


def _delete(paths: Iterable[Path]) -> None:
    for path in paths:
        path.unlink(missing_ok=True)


def _refuse_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number")


def _still_runs(process: Plain) -> bool:
    number, started = int(process["number"]), float(process["started"])
    if number == os.getpid():
        return False  # `left` knows the windows of this process that are open
    try:
        found: float = psutil.Process(number).create_time()
    except (psutil.NoSuchProcess, ValueError):
        return False
    except psutil.AccessDenied:
        return True
    return abs(found - started) < SAME_START_S
