"""Log files of the chair: written before the next step is shown, never shortened, taken up for their image only."""

from __future__ import annotations

import logging
from functools import cache

import pytest

from curvometer import (
    CanalName,
    CaseContext,
    Exploration,
    Outcome,
    Treatment,
    TreatmentError,
    ask_recommenders,
    load_treatment,
    save_treatment,
    what_if_request,
)
from curvometer_napari.chairside import Planned, begun, stand_of, told
from curvometer_napari.kept_logs import KeptLogs
from curvometer_sequences import recommend_by_table


@cache
def request(radius_mm: float = 6.0):
    """40 degrees, the curve starts 6 mm from the foramen, working length 20 mm, hand 8 at length."""
    return what_if_request(
        angle_deg=40.0,
        radius_mm=radius_mm,
        curve_start_from_foramen_mm=6.0,
        exploration=Exploration(working_length_mm=20.0, reached_size=8),
        context=CaseContext(tooth=46, canal="MB"),
    )


@cache
def empty_log(radius_mm: float = 6.0) -> Treatment:
    """A log that has begun, without an entry."""
    asked = request(radius_mm)
    answer = ask_recommenders(asked, recommenders={"table": recommend_by_table})
    return begun(asked, (), Planned(request=asked, answer=answer), answer.plans[0])


def ticked(treatment: Treatment, outcome: Outcome = Outcome.REACHED) -> Treatment:
    """The log with one more entry."""
    return told(treatment.request, (treatment,), outcome)


@pytest.fixture
def logs(tmp_path) -> KeptLogs:
    made = KeptLogs(tmp_path / "treatments")
    made.open_image("ab" * 32, take_up=True)
    return made


def test_a_log_is_on_the_disk_before_the_next_step_is_shown(logs):
    logs.add(CanalName.MB, empty_log())
    path = logs.path(CanalName.MB)
    assert load_treatment(path).log.entries == ()
    after = ticked(empty_log())
    logs.go_on(CanalName.MB, after)
    assert load_treatment(path).log.entries == after.log.entries
    assert logs.treatments(CanalName.MB) == (after,)
    assert logs.treatments(CanalName.ML) == ()
    assert list(logs.folder.glob("*.json")) == [path]


def test_logs_are_taken_up_for_their_image_and_canal_only(logs):
    logs.add(CanalName.MB, ticked(empty_log()))
    logs.add(CanalName.MB, empty_log(4.5))
    later = KeptLogs(logs.folder)
    later.open_image("cd" * 32, take_up=True)
    assert later.treatments(CanalName.MB) == ()
    later.open_image("ab" * 32, take_up=False)
    assert later.treatments(CanalName.MB) == ()
    assert len(later.waiting(CanalName.MB)) == 2
    later.take_up(CanalName.MB)
    assert [len(each.log.entries) for each in later.treatments(CanalName.MB)] == [1, 0]
    assert later.waiting(CanalName.MB) == ()
    # As JSON holds it, the request is still the one in force.
    assert stand_of(request(4.5), later.treatments(CanalName.MB)).offered


def test_two_windows_lose_no_entry(logs):
    logs.add(CanalName.MB, empty_log())
    other = KeptLogs(logs.folder)
    other.open_image("ab" * 32, take_up=True)
    theirs = ticked(other.treatments(CanalName.MB)[0])
    other.go_on(CanalName.MB, theirs)
    mine = ticked(empty_log(), Outcome.BINDING)
    with pytest.raises(TreatmentError, match="Another window has gone on"):
        logs.go_on(CanalName.MB, mine)
    assert logs.treatments(CanalName.MB)[0].log.entries == theirs.log.entries
    assert load_treatment(logs.path(CanalName.MB)).log.entries == theirs.log.entries


def test_what_cannot_be_written_is_told_and_kept_in_the_window(tmp_path, caplog):
    caplog.set_level(logging.CRITICAL, logger="curvometer_napari")
    (tmp_path / "treatments").write_text("a file where the folder should be")
    logs = KeptLogs(tmp_path / "treatments")
    logs.open_image("ab" * 32, take_up=False)
    logs.add(CanalName.MB, empty_log())
    assert "press Save log as" in logs.unsaved
    logs.go_on(CanalName.MB, ticked(logs.treatments(CanalName.MB)[0]))
    assert len(logs.treatments(CanalName.MB)[0].log.entries) == 1
    (tmp_path / "treatments").unlink()
    logs.go_on(CanalName.MB, ticked(logs.treatments(CanalName.MB)[0]))
    assert logs.unsaved == ""
    assert len(load_treatment(logs.path(CanalName.MB)).log.entries) == 2


def test_a_spoilt_file_stays_and_the_log_goes_to_a_new_one(logs, caplog):
    caplog.set_level(logging.CRITICAL, logger="curvometer_napari")
    logs.add(CanalName.MB, empty_log())
    first = logs.path(CanalName.MB)
    first.write_text("{")
    logs.go_on(CanalName.MB, ticked(logs.treatments(CanalName.MB)[0]))
    assert first.read_text() == "{"
    assert logs.path(CanalName.MB) != first
    assert len(load_treatment(logs.path(CanalName.MB)).log.entries) == 1
    later = KeptLogs(logs.folder)
    later.open_image("ab" * 32, take_up=True)
    assert len(later.treatments(CanalName.MB)) == 1


def test_files_of_other_names_are_left_alone(logs):
    logs.folder.mkdir()
    (logs.folder / f"{'ab' * 16}-MB-copy.json").write_text("{}")
    (logs.folder / f"{'ab' * 16}-MB2-1.json").write_text("{}")
    assert logs.waiting(CanalName.MB) == ()
    logs.add(CanalName.MB, empty_log())
    assert logs.path(CanalName.MB).name.endswith("-MB-1.json")
    save_treatment(empty_log(), logs.folder / "elsewhere.json")
    assert len(logs.treatments(CanalName.MB)) == 1


def test_the_logs_of_all_canals_are_taken_up_together(logs):
    """A piece that was used in one canal must not count as fresh in another one because its log waits."""
    logs.add(CanalName.MB, empty_log())
    logs.add(CanalName.ML, ticked(empty_log()))
    later = KeptLogs(logs.folder)
    later.open_image("ab" * 32, take_up=False)
    assert later.left() == (CanalName.MB, CanalName.ML)
    assert later.elsewhere(CanalName.MB) == ()
    later.add(CanalName.MB, empty_log(4.5))
    assert later.left() == (CanalName.ML,)
    later.take_all_up()
    assert later.left() == ()
    (there,) = later.elsewhere(CanalName.MB)
    assert there.log.entries == logs.treatments(CanalName.ML)[0].log.entries
    assert later.treatments(CanalName.MB) == (empty_log(4.5),)
