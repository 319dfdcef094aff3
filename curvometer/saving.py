"""Writing a result file: complete or not at all, and never over something that was there unless asked.

A file is written beside its final place, forced to disk and then renamed. A crash, a full disk or a pulled
plug therefore leaves either the old content or the new, never a half.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from curvometer.radiograph import CurvometerError

PathLike = str | os.PathLike[str]


LOCK_SECONDS = 10.0
"""Nobody holds a file longer than it takes to read and to write it; whoever waits longer waits in vain."""


class SavingError(CurvometerError):
    """An output cannot or must not be written."""


def check_outputs(outputs: Iterable[Path], *, inputs: Iterable[Path] = (), overwrite: bool = False) -> None:
    """Refuse outputs that could not be saved, before any work is done.

    Parameters
    ----------
    outputs
        Files that will be written.
    inputs
        Files that are read, which no output may replace.
    overwrite
        Whether existing files may be replaced.

    Raises
    ------
    SavingError
        When two outputs are the same file, an output is an input, exists, is no file, or its folder is
        missing or not writable.
    """
    inputs, seen = list(inputs), set[str]()
    for path in outputs:
        if "\0" in str(path):
            raise SavingError(f"{str(path)!r} cannot be a file name: give another one")
        place = os.path.realpath(path)
        if place in seen:
            raise SavingError(f"two outputs would be written to {path}: give each its own name")
        seen.add(place)
        if any(place == os.path.realpath(source) for source in inputs):
            raise SavingError(f"the output {path} is also an input: give it another name")
        check_output(path, overwrite=overwrite)


def check_output(path: PathLike, *, overwrite: bool = False) -> None:
    """Refuse one output that could not be saved: see `check_outputs`."""
    path = Path(path)
    try:
        _refuse_existing(path, overwrite=overwrite)
        if not path.parent.is_dir():
            raise SavingError(f"the folder {path.parent} for {path.name} does not exist: make it first")
        # Permission bits do not tell about read-only disks or the superuser, so try it.
        with _beside(path):
            pass
    except OSError as error:
        raise _cannot_write(path, error) from error


def save_bytes(content: bytes, path: PathLike, *, overwrite: bool = False) -> None:
    """Write a whole file or nothing.

    Parameters
    ----------
    content
        The file's bytes.
    path
        Where it goes; its folder must exist.
    overwrite
        Whether an existing file may be replaced.

    Raises
    ------
    SavingError
        When the file exists and `overwrite` is false, or cannot be written; what was there is untouched.
    """
    path = Path(path)
    try:
        _refuse_existing(path, overwrite=overwrite)
        with _beside(path) as temporary:
            _write_through(temporary, content)
            _keep_mode(path, temporary)
            if overwrite:
                temporary.replace(path)
            else:
                _publish_new(temporary, path)
        _sync_folder(path.parent)
    except OSError as error:
        raise _cannot_write(path, error) from error


@contextlib.contextmanager
def alone_with(path: PathLike) -> Iterator[None]:
    """Keep every other program that asks the same away from a file, between reading and replacing it.

    The lock is the operating system's, on an empty hidden file beside `path` that stays there, and ends with the program
    that holds it, however that ends. Not to be entered twice by one caller.

    Raises
    ------
    SavingError
        When another program does not let go, or the folder cannot be written.
    """
    from filelock import FileLock, Timeout  # noqa: PLC0415 - only where a file is kept by several programs

    path = Path(path)
    # A short name of its own, as for the temporary file.
    name = f".curvometer-{hashlib.sha256(path.name.encode(errors='surrogateescape')).hexdigest()[:16]}.lock"
    lock = FileLock(path.parent / name, timeout=LOCK_SECONDS)
    try:
        lock.acquire()
    except Timeout:
        raise SavingError(
            f"{path} is held by another program; wait until that is done, then do this again"
        ) from None
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        yield
    finally:
        lock.release()


def _refuse_existing(path: Path, *, overwrite: bool) -> None:
    try:
        path.lstat()
    except FileNotFoundError:
        return
    if not path.is_file():
        raise SavingError(f"{path} exists and is not a file that can be replaced: give another name")
    if not overwrite:
        raise SavingError(f"{path} exists already: give another name, or allow overwriting (--overwrite)")


@contextlib.contextmanager
def _beside(path: Path) -> Iterator[Path]:
    """Give a fresh file in the same folder, so that the rename stays on one disk; removed afterwards."""
    # A short name of its own: the target's name may already be as long as the disk allows.
    temporary = path.parent / f".curvometer-{os.getpid()}-{os.urandom(6).hex()}.tmp"
    os.close(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666))
    try:
        yield temporary
    finally:
        temporary.unlink(missing_ok=True)


def _write_through(temporary: Path, content: bytes) -> None:
    with temporary.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())


def _keep_mode(path: Path, temporary: Path) -> None:
    """Let a replaced file keep its permissions: a private record must not become readable to all."""
    if path.exists():
        temporary.chmod(path.stat().st_mode & 0o777)


def _publish_new(temporary: Path, path: Path) -> None:
    """Give the file its name only if nobody took that name meanwhile; a plain rename would replace it."""
    try:
        os.link(temporary, path)
    except FileExistsError:
        _refuse_existing(path, overwrite=False)
        raise
    except OSError:  # a file system without hard links
        _refuse_existing(path, overwrite=False)
        temporary.replace(path)


def _sync_folder(folder: Path) -> None:
    """Make the rename itself durable; systems that cannot open a folder do without."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _cannot_write(path: Path, error: OSError) -> SavingError:
    reason = (error.strerror or type(error).__name__).lower()
    return SavingError(f"{path} cannot be written ({reason}): give a place where you may write")
