"""Treatment logs on this computer: a file for each, written before the next step is shown.

A log belongs to an image, by the hash of its file, and to a canal. Each has a file of its own beside the tracings that
`curvometer_napari.autosave` keeps, and none is ever deleted or shortened here.
"""

from __future__ import annotations

import logging
import re
from dataclasses import dataclass
from pathlib import Path

from curvometer import CanalName, CurvometerError, Treatment, TreatmentError, load_treatment, save_treatment
from curvometer_napari.autosave import state_folder

MOST_LOGS = 1000
"""Logs of one canal; more are a mistake somewhere."""

log = logging.getLogger("curvometer_napari")


@dataclass(frozen=True, kw_only=True)
class KeptLog:
    """A log with its file.

    Attributes
    ----------
    treatment
        Plan, request and entries.
    path
        None while it could not be written.
    """

    treatment: Treatment
    path: Path | None = None


class KeptLogs:
    """The logs of one image's canals, each on the disk as soon as it changes.

    Parameters
    ----------
    folder
        Where the files are; `state_folder` / "treatments" when None. It is made when first needed.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = state_folder() / "treatments" if folder is None else folder
        self.unsaved = ""
        """Why the newest entry is in this window only; empty when all is on the disk."""
        self._sha256 = ""
        self._of: dict[CanalName, list[KeptLog]] = {}
        self._left: dict[CanalName, tuple[Path, ...]] = {}

    def open_image(self, sha256: str, *, take_up: bool) -> None:
        """Turn to an image; with `take_up` to its logs as they were left, too."""
        self._sha256, self._of, self._left, self.unsaved = sha256, {}, {}, ""
        for name in CanalName if take_up else ():
            self.take_up(name)

    def treatments(self, name: CanalName) -> tuple[Treatment, ...]:
        """The logs of a canal that are in hand, oldest first."""
        return tuple(kept.treatment for kept in self._of.get(name, ()))

    def elsewhere(self, name: CanalName) -> tuple[Treatment, ...]:
        """The logs of the image's other canals that are in hand."""
        return tuple(each for other in sorted(self._of) if other != name for each in self.treatments(other))

    def path(self, name: CanalName) -> Path | None:
        """The newest log's file."""
        kept = self._of.get(name)
        return kept[-1].path if kept else None

    def waiting(self, name: CanalName) -> tuple[Path, ...]:
        """Files of a canal's logs that were left by an earlier window and are not in hand."""
        if self._of.get(name):
            return ()
        if name not in self._left:  # asked for at every refresh: the folder is looked at once
            self._left[name] = tuple(self._files(name))
        return self._left[name]

    def take_up(self, name: CanalName) -> None:
        """Take a canal's logs in hand as they were left; one that cannot be read stays where it is."""
        found = []
        for path in self._files(name):
            try:
                found.append(KeptLog(treatment=load_treatment(path), path=path))
            except CurvometerError as error:
                log.warning("%s is not taken up: %s", path, error)
        self._left[name] = ()
        if found:
            self._of[name] = found

    def take_all_up(self) -> None:
        """Take up what waits for any canal: the pieces that were used in one canal count in the others."""
        for name in self.left():
            self.take_up(name)

    def left(self) -> tuple[CanalName, ...]:
        """Canals with logs that were left by an earlier window and are not in hand."""
        return tuple(name for name in CanalName if self.waiting(name))

    def add(self, name: CanalName, treatment: Treatment) -> None:
        """Take a further log in hand, and write it to a new file."""
        path = self._written_new(name, treatment)
        self._of.setdefault(name, []).append(KeptLog(treatment=treatment, path=path))

    def go_on(self, name: CanalName, treatment: Treatment) -> None:
        """Put the newest log's next form in its place, on the disk first.

        Raises
        ------
        TreatmentError
            If another window went on with this log meanwhile: its entries are in hand then, and nothing was added.
        """
        path = self._of[name][-1].path
        if path is None:
            path = self._written_new(name, treatment)
        else:
            path = self._written_on(name, path, treatment)
        self._of[name][-1] = KeptLog(treatment=treatment, path=path)

    def _written_on(self, name: CanalName, path: Path, treatment: Treatment) -> Path | None:
        try:
            save_treatment(treatment, path, overwrite=True)
        except TreatmentError as error:
            there = _loaded(path)
            if (
                there is None
            ):  # somebody has spoilt the file: it stays, and all that is known goes to a new one
                log.warning("%s: %s", path, error)
                return self._written_new(name, treatment)
            self._of[name][-1] = KeptLog(treatment=there, path=path)
            raise TreatmentError(
                "Another window has gone on with this log; its entries are shown now: look at the next step and tell it again."
            ) from None
        except CurvometerError as error:
            self._not_saved(error)
            return path
        self.unsaved = ""
        return path

    def _written_new(self, name: CanalName, treatment: Treatment) -> Path | None:
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            path = self._free_path(name)
            save_treatment(treatment, path)
        except (CurvometerError, OSError) as error:
            self._not_saved(error)
            return None
        self.unsaved = ""
        return path

    def _not_saved(self, error: Exception) -> None:
        log.warning("the treatment cannot be kept in %s", self.folder, exc_info=error)
        self.unsaved = f"The log is in this window only, because its file cannot be written ({error}): press Save log as."

    def _files(self, name: CanalName) -> list[Path]:
        found = [path for path in self.folder.glob(f"{self._stem(name)}-*.json") if _number(path)]
        return sorted(found, key=_number)

    def _free_path(self, name: CanalName) -> Path:
        last = max(map(_number, self._files(name)), default=0)
        if last >= MOST_LOGS:
            raise TreatmentError(
                f"There are {last} logs of this canal in {self.folder}: move them elsewhere."
            )
        return self.folder / f"{self._stem(name)}-{last + 1}.json"

    def _stem(self, name: CanalName) -> str:
        return f"{self._sha256[:32] or 'image'}-{name.value}"


def _loaded(path: Path) -> Treatment | None:
    try:
        return load_treatment(path)
    except CurvometerError:
        return None


def _number(path: Path) -> int:
    """Number of a log's file; 0 for a file of another name."""
    found = re.fullmatch(r"[^-]+-[^-]+-(\d{1,4})", path.stem)
    return int(found[1]) if found else 0
