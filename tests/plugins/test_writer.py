"""The traced canals as a record, through napari's save."""

from __future__ import annotations

import numpy as np
import pytest
from napari.utils.notifications import ErrorNotification, notification_manager

from curvometer import CanalName, load_record
from curvometer_napari.writer import NO_CANAL, write_record


@pytest.fixture
def traced(session, sample):
    """A session with one accepted canal, traced from the truth's clicks."""
    known = sample("lower_molar")
    session.set_radiograph(known.radiograph, source=str(known.path))
    session.start_tracing(CanalName.MB)
    session.click(known.orifice_rc)
    session.click(known.foramen_rc)
    session.settle()
    session.accept()
    session.settle()
    return session


def layer(session):
    return (np.zeros((8, 8)), {"name": "tooth", "metadata": {"curvometer": {"session": session}}}, "image")


OTHER = (np.zeros((2, 2)), {"name": "points", "metadata": {}}, "points")


def test_accepted_canals_are_saved(traced, tmp_path):
    path = str(tmp_path / "record.json")
    assert write_record(path, [OTHER, layer(traced)]) == [path]
    record = load_record(path)
    assert [canal.name for canal in record.canals] == [CanalName.MB]
    assert record.image.sha256 == traced.radiograph.sha256
    measured = traced.result(CanalName.MB).measurement.schneider_angle.value
    assert record.canals[0].measurement.schneider_angle.value == pytest.approx(measured)


def test_a_stale_outcome_is_solved_again(traced, tmp_path):
    traced._results.clear()
    path = str(tmp_path / "record.json")
    assert write_record(path, [layer(traced)]) == [path]
    assert load_record(path).canals[0].measurement.schneider_angle is not None


def test_the_file_that_the_dialog_asked_about_is_replaced(traced, tmp_path):
    path = tmp_path / "record.json"
    path.write_text("old")
    assert write_record(str(path), [layer(traced)])
    load_record(path)


@pytest.mark.parametrize(
    "layers", [[], [OTHER], ["a session without a canal"]], ids=["none", "other", "untraced"]
)
def test_without_a_canal_one_sentence_and_no_file(layers, session, tmp_path):
    before = len(notification_manager.records)
    path = tmp_path / "record.json"
    given = [layer(session) if isinstance(one, str) else one for one in layers]
    assert write_record(str(path), given) == []
    assert not path.exists()
    (notification,) = notification_manager.records[before:]
    assert notification.message == NO_CANAL
    assert not isinstance(notification, ErrorNotification)


def test_a_place_that_cannot_be_written_is_one_sentence(traced, tmp_path):
    before = len(notification_manager.records)
    assert write_record(str(tmp_path / "no such folder" / "record.json"), [layer(traced)]) == []
    (notification,) = notification_manager.records[before:]
    assert "record.json" in notification.message


def test_napari_saves_with_it(make_napari_viewer, traced, tmp_path):
    viewer = make_napari_viewer()
    viewer.add_image(np.zeros((8, 8)), metadata={"curvometer": {"session": traced}})
    viewer.add_points([[1, 1]])
    path = str(tmp_path / "record.json")
    assert viewer.layers.save(path, plugin="curvometer") == [path]
    assert len(load_record(path).canals) == 1
