"""The traced canals of an image as a record, through napari's own save dialog."""

from __future__ import annotations

import logging
from typing import Any

from curvometer import CanalEntry, CaseRecord, CurvometerError, canal_entry, new_record, save_record
from curvometer_napari.case import Tracing
from curvometer_napari.session import Session
from curvometer_napari.solving import Result, solve

NO_CANAL = "There is no traced canal to save: trace one, accept it with Enter, then save the record."

log = logging.getLogger("curvometer_napari")


class NothingToRecordError(CurvometerError):
    """No image with a traced canal is among the layers."""


def write_record(path: str, layers: list[tuple[Any, dict[str, Any], str]]) -> list[str]:
    """Save a record of the canals on the image among these layers; a refusal is one sentence.

    Parameters
    ----------
    path
        A ``.json`` file; the dialog has asked already whether to replace one that exists.
    layers
        (data, layer options, type of layer) for each.

    Returns
    -------
    list of str
        The path, or nothing when there was nothing to save.
    """
    try:
        save_record(session_record(_session(layers)), path, overwrite=True)
    except CurvometerError as error:
        _refuse(str(error))
        return []
    return [path]


def session_record(session: Session) -> CaseRecord:
    """Make the record of a session's accepted canals.

    Raises
    ------
    CurvometerError
        When there is none, or one of them cannot be measured.
    """
    calibration = session.calibration
    entries = [_entry(session, tracing) for tracing in session.case.tracings if tracing.accepted]
    if calibration is None or not entries:
        raise NothingToRecordError(NO_CANAL)
    return new_record(radiograph=session.radiograph, calibration=calibration, canals=entries)


def _entry(session: Session, tracing: Tracing) -> CanalEntry:
    result = _result(session, tracing)
    if result.centreline is None or result.measurement is None:
        raise NothingToRecordError(f"The canal {tracing.name} is not measured: {result.problem}")
    return canal_entry(result.centreline, result.measurement, name=tracing.name)


def _result(session: Session, tracing: Tracing) -> Result:
    """The canal's outcome; solved here when the one at hand belongs to older clicks."""
    result = session.result(tracing.name)
    if result is not None and session.is_fresh(tracing.name):
        return result
    assert session.radiograph is not None
    assert session.calibration is not None
    return solve(session.radiograph, session.calibration, tracing)


def _session(layers: list[tuple[Any, dict[str, Any], str]]) -> Session:
    for _, options, _ in layers:
        session = options.get("metadata", {}).get("curvometer", {}).get("session")
        if isinstance(session, Session):
            return session
    raise NothingToRecordError(NO_CANAL)


def _refuse(sentence: str) -> None:
    from napari.utils.notifications import show_error  # noqa: PLC0415 - only when something is wrong

    log.warning("not saved: %s", sentence)
    show_error(sentence)
