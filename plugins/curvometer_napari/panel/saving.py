"""Where files are chosen, and how texts and records are written: whole or not at all."""

from __future__ import annotations

from pathlib import Path

from qtpy.QtCore import QIODevice, QSaveFile
from qtpy.QtWidgets import QFileDialog, QWidget

from curvometer import CurvometerError, save_record
from curvometer_napari.session import Session

IMAGES = (
    "Radiographs and exercises (*.dcm *.dicom *.ima *.png *.tif *.tiff *.jpg *.jpeg *.bmp *.handout.zip exercise.toml"
    " *.json)"
    ";;All files (*)"
)


def ask_for_image(parent: QWidget, *, folder: str) -> str:
    """Let the person choose an image file; empty when they do not."""
    path, _ = QFileDialog.getOpenFileName(parent, "Open a radiograph", folder, IMAGES)
    return str(path)


def ask_for_log(parent: QWidget) -> str:
    """Let the person choose a treatment log; empty when they do not."""
    path, _ = QFileDialog.getOpenFileName(parent, "Open a treatment log", "", "Treatment logs (*.json)")
    return str(path)


def ask_where_to_save(parent: QWidget, *, title: str, suffix: str, proposed: str) -> str:
    """Let the person choose a file to write, and confirm when it exists; empty when they do not."""
    dialog = QFileDialog(parent, title, proposed, f"{suffix.upper()} file (*.{suffix})")
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setFileMode(QFileDialog.FileMode.AnyFile)
    # With its suffix, so that the question about an existing file is asked of the name that is written.
    dialog.setDefaultSuffix(suffix)
    return str(dialog.selectedFiles()[0]) if dialog.exec() else ""


def write_text(text: str, path: str) -> str:
    """Write a whole text or nothing; returns a sentence when that failed."""
    file = QSaveFile(path)
    if file.open(QIODevice.OpenModeFlag.WriteOnly):
        file.write(text.encode("utf-8"))
        if file.commit():
            return ""
    reason = file.errorString().lower()
    return f"{Path(path).name} cannot be written ({reason}): choose a folder where you may write."


def write_record(session: Session, path: str) -> str:
    """Write the record of all accepted canals; returns a sentence when that failed."""
    from curvometer_napari.writer import session_record  # noqa: PLC0415 - pydantic is slow to import

    try:
        # The dialog has asked already whether an existing file may be replaced.
        save_record(session_record(session), path, overwrite=True)
    except CurvometerError as error:
        return str(error)
    return ""
