"""Tracings that outlive their window: whole files, nothing lost, nothing offered twice."""

from __future__ import annotations

import datetime as dt
import json
import logging
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from curvometer import CanalName, Radiograph, Structure
from curvometer_napari import autosave, kept_steps
from curvometer_napari.autosave import Autosave, case_from_plain, case_to_plain
from curvometer_napari.case import Case, Display, ScaleObject, Tracing

NUMBERS = st.floats(-1e4, 1e4, allow_nan=False)
POINTS = st.tuples(NUMBERS, NUMBERS)
LENGTHS = st.floats(0.1, 50.0)


@st.composite
def tracings(draw, name):
    anchors = tuple(draw(st.lists(POINTS, max_size=6)))
    legs = st.frozensets(st.integers(0, max(0, len(anchors) - 2)))
    return Tracing(
        name=name,
        structure=draw(st.sampled_from(Structure)),
        anchors_rc=anchors,
        hand_legs=draw(legs) if len(anchors) >= 2 else frozenset(),
        accepted=draw(st.booleans()),
    )


@st.composite
def cases(draw):
    names = draw(st.lists(st.sampled_from(CanalName), unique=True, max_size=4))
    return Case(
        display=Display(
            quarter_turns=draw(st.integers(0, 3)),
            mirrored=draw(st.booleans()),
            inverted=draw(st.booleans()),
            enhanced=draw(st.booleans()),
            window=draw(st.none() | POINTS),
        ),
        scale_objects=tuple(
            draw(
                st.lists(
                    st.builds(
                        ScaleObject,
                        clicks_rc=st.lists(POINTS, min_size=2, max_size=5).map(tuple),
                        length_mm=LENGTHS,
                        tolerance_mm=LENGTHS,
                    ),
                    max_size=3,
                )
            )
        ),
        scale_draft_rc=tuple(draw(st.lists(POINTS, max_size=4))),
        tracings=tuple(draw(tracings(name)) for name in names),
        selected=draw(st.none() | st.sampled_from(names)) if names else None,
    )


HALF_TRACED = Case(
    scale_objects=(ScaleObject(clicks_rc=((10.0, 20.0), (400.5, 30.25)), length_mm=21.0),),
    tracings=(
        Tracing(name=CanalName.MB, anchors_rc=((1.0, 2.0), (3.0, 4.0), (5.0, 6.0)), hand_legs=frozenset({1})),
    ),
    selected=CanalName.MB,
)


@pytest.fixture
def picture():
    return Radiograph(pixels=np.zeros((600, 500), np.uint8), sha256="ab" * 32)


@pytest.fixture
def opened(session, picture):
    """A session with an image that has a name, and nothing done to it."""
    session.set_radiograph(picture, source="tooth.png")
    return session


def reopened(session, case, source="tooth.png"):
    """Give the session that case without tracing anything: only `keep` is under test."""
    session._solve = lambda: None
    session.set_radiograph(replace(session.radiograph), source=source, case=case)
    return session


@given(cases())
def test_any_case_comes_back_as_it_was(case):
    text = json.dumps(case_to_plain(case), allow_nan=False)
    assert case_from_plain(json.loads(text)) == case


def test_positions_in_the_file_are_x_y():
    plain = case_to_plain(HALF_TRACED)
    assert plain["tracings"][0]["anchors_xy"] == [[2.0, 1.0], [4.0, 3.0], [6.0, 5.0]]
    assert plain["scale_objects"][0]["clicks_xy"][1] == [30.25, 400.5]


def test_what_a_closed_window_left_is_offered_with_its_image(opened, tmp_path):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    window.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case == HALF_TRACED
    assert saved.sha256 == "ab" * 32
    assert saved.source == str(Path("tooth.png").absolute())
    assert dt.datetime.now(dt.UTC) - saved.when < dt.timedelta(minutes=1)


def test_a_window_that_is_open_is_not_offered_to_another(opened, tmp_path):
    window, other = Autosave(tmp_path), Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    assert other.pending() == []
    assert window.pending() == []


def test_each_step_replaces_the_one_file_of_the_image(opened, tmp_path):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    opened.do(replace(HALF_TRACED, scale_draft_rc=((7.0, 8.0),)), "click")
    window.keep(opened)
    window.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case.scale_draft_rc == ((7.0, 8.0),)
    assert [path.suffix for path in tmp_path.iterdir()] == [".json"], "no temporary file stays"


def test_opening_the_same_image_again_does_not_overwrite_what_was_done_to_it(opened, tmp_path):
    """A person who opens the file a second time begins with nothing; the first tracing must survive that."""
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    window.keep(reopened(opened, None))
    window.keep(reopened(opened, Case(scale_draft_rc=((1.0, 1.0),))))
    window.close()
    newest, first = Autosave(tmp_path).pending()
    assert first.case == HALF_TRACED
    assert newest.case.scale_draft_rc == ((1.0, 1.0),)


def test_a_drag_under_way_is_not_a_step(opened, tmp_path):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    opened.preview(replace(HALF_TRACED, scale_draft_rc=((9.0, 9.0),)))
    window.keep(opened)
    window.close()
    assert Autosave(tmp_path).pending()[0].case == HALF_TRACED


@pytest.mark.parametrize(
    "case", [Case(), Case(display=Display(mirrored=True), tracings=(Tracing(name="MB"),))]
)
def test_nothing_clicked_leaves_no_file(opened, tmp_path, case):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    opened.do(case, "take all back")
    window.keep(opened)
    window.close()
    assert Autosave(tmp_path).pending() == []


def test_an_image_that_no_file_holds_is_not_kept(session, picture, tmp_path):
    session._solve = lambda: None
    session.set_radiograph(picture, case=HALF_TRACED)
    Autosave(tmp_path).keep(session)
    assert list(tmp_path.iterdir()) == []


def test_what_is_discarded_is_gone(opened, tmp_path):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    window.close()
    other = Autosave(tmp_path)
    (saved,) = other.pending()
    other.discard(saved)
    other.discard(saved)
    assert other.pending() == []


GOOD = {
    "version": 1,
    "saved": "2026-01-01T10:00:00+00:00",
    "source": "/tooth.png",
    "sha256": "ab",
    "process": {"number": 2**31 - 5, "started": 0.0},
    "case": case_to_plain(HALF_TRACED),
}
DAMAGED = {
    "not JSON": "{",
    "nothing": "",
    "a list": "[]",
    "a number": "1",
    "not a number": json.dumps(GOOD).replace("400.5", "NaN"),
    "no case": json.dumps({key: GOOD[key] for key in GOOD if key != "case"}),
    "unknown canal": json.dumps(GOOD).replace('"MB"', '"XY"'),
    "a leg too many": json.dumps(GOOD).replace('"hand_legs": [1]', '"hand_legs": [2]'),
    "a point of three": json.dumps(GOOD).replace("[2.0, 1.0]", "[2.0, 1.0, 0.0]"),
    "newer": json.dumps(GOOD | {"version": 2}),
    "time without zone": json.dumps(GOOD | {"saved": "2026-01-01T10:00:00"}),
    "too deep": "[" * 100_000,
    "too large": json.dumps(GOOD) + " " * kept_steps.LARGEST_FILE_BYTES,
}


@pytest.mark.parametrize("text", DAMAGED.values(), ids=DAMAGED.keys())
def test_a_file_that_cannot_be_read_is_left_with_a_line_in_the_log(text, tmp_path, caplog):
    path, good = tmp_path / "damaged.json", tmp_path / "good.json"
    path.write_text(text)
    good.write_text(json.dumps(GOOD))
    with caplog.at_level(logging.WARNING, logger="curvometer_napari"):
        assert [saved.path for saved in Autosave(tmp_path).pending()] == [good]
    assert path.read_text() == text
    assert [record.message.count("damaged.json is not offered") for record in caplog.records] == [1]


def test_a_file_that_cannot_be_written_is_told_once(opened, tmp_path):
    blocked = tmp_path / "no folder"
    blocked.write_text("a file where the folder should be")
    told = []
    window = Autosave(blocked)
    reopened(opened, HALF_TRACED)
    opened.told.connect(told.append)
    window.keep(opened)
    window.keep(opened)
    assert len(told) == 1
    assert "cannot be kept for the next start" in told[0]


def no_space(*_args, **_keywords):
    raise OSError(28, "No space left on device")


def test_a_failed_write_leaves_the_step_before_it(opened, tmp_path, monkeypatch):
    window = Autosave(tmp_path)
    window.keep(reopened(opened, HALF_TRACED))
    with monkeypatch.context() as patch:
        patch.setattr(json, "dump", no_space)
        opened.do(Case(scale_draft_rc=((1.0, 1.0),)), "click")
        window.keep(opened)
    window.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case == HALF_TRACED
    assert len(list(tmp_path.iterdir())) == 1


def test_a_step_that_does_not_reach_the_disk_keeps_the_one_before_and_is_told_once(
    opened, tmp_path, monkeypatch
):
    window, told = Autosave(tmp_path), []
    window.keep(reopened(opened, HALF_TRACED))
    window.flush()
    opened.told.connect(told.append)
    monkeypatch.setattr(os, "fsync", no_space)
    later = [Case(scale_draft_rc=((1.0, 1.0),) * clicks) for clicks in (1, 2)]
    for case in later:
        opened.do(case, "click")
        window.keep(opened)
        window.flush()
    opened.settle()
    assert [sentence for sentence in told if "no space left" in sentence] == [told[-1]]
    kept = {autosave._read(path).case for path in tmp_path.iterdir()}
    assert kept == {HALF_TRACED, *later}, "whatever the disk has, one of them is whole"
    window.close()
    assert [saved.case for saved in Autosave(tmp_path).pending()] == [later[-1]]


def test_a_step_is_there_before_it_is_on_the_disk_and_the_window_does_not_wait(opened, tmp_path, monkeypatch):
    """The disk takes as long as the test likes; a crash now finds the newest step, a cut of power the one before."""
    window, disk, asked = Autosave(tmp_path), threading.Event(), threading.Event()
    window.keep(reopened(opened, HALF_TRACED))
    window.flush()

    def slow(_handle):
        asked.set()
        assert disk.wait(20.0)

    monkeypatch.setattr(os, "fsync", slow)
    click = Case(scale_draft_rc=((1.0, 1.0),))
    opened.do(click, "click")
    window.keep(opened)
    assert asked.wait(20.0)
    assert {autosave._read(path).case for path in tmp_path.iterdir()} == {HALF_TRACED, click}
    disk.set()
    window.close()
    assert [autosave._read(path).case for path in tmp_path.iterdir()] == [click]


def test_of_two_steps_the_newest_that_can_be_read_is_offered(tmp_path):
    """After a cut of power the newest may be there in name only."""
    for step, text in ((2, json.dumps(GOOD)), (10, "")):
        (tmp_path / f"ab-{step}.json").write_text(text)
    (saved,) = Autosave(tmp_path).pending()
    assert saved.path.name == "ab-2.json"
    (tmp_path / "ab-10.json").write_text(json.dumps(GOOD | {"case": case_to_plain(Case())}))
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case == Case()
    Autosave(tmp_path).discard(saved)
    assert list(tmp_path.iterdir()) == []


def test_what_is_kept_after_the_end_is_kept(opened, tmp_path):
    window = Autosave(tmp_path)
    window.close()
    window.keep(reopened(opened, HALF_TRACED))
    assert [saved.case for saved in Autosave(tmp_path).pending()] == [HALF_TRACED]


def test_another_process_of_the_same_number_does_not_hide_a_file(tmp_path):
    """Numbers of processes come again: this one's parent runs, but began at another time than the file says."""
    document = GOOD | {"process": {"number": os.getppid(), "started": 12345.0}}
    (tmp_path / "old.json").write_text(json.dumps(document))
    assert len(Autosave(tmp_path).pending()) == 1


def test_the_folder_can_be_named(monkeypatch, tmp_path):
    monkeypatch.setenv("CURVOMETER_STATE_DIR", str(tmp_path / "here"))
    assert Autosave().folder == tmp_path / "here" / "tracings"
    monkeypatch.delenv("CURVOMETER_STATE_DIR")
    assert autosave.state_folder().name == "curvometer"


TRACER = """
import sys, time
from pathlib import Path
import numpy as np
from curvometer import CanalName, Radiograph
from curvometer_napari.autosave import Autosave
from curvometer_napari.session import Session
session, window = Session(), Autosave(Path(sys.argv[1]))
session.case_changed.connect(lambda: window.keep(session))
rng = np.random.default_rng(1)
session.set_radiograph(Radiograph(pixels=rng.integers(0, 255, (300, 200), dtype=np.uint8), sha256="cd"), source="a.png")
session.start_tracing(CanalName.MB2)
session.choose(session.tool, hand=True)
session.click((10.0, 20.0))
session.click((60.0, 30.5))
print("clicked", flush=True)
time.sleep(60)
"""


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL")
def test_a_killed_window_gives_its_half_traced_canal_back(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", TRACER, str(tmp_path)], stdout=subprocess.PIPE, text=True
    )
    try:
        assert process.stdout.readline() == "clicked\n"
        assert Autosave(tmp_path).pending() == [], "it still runs"
    finally:
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
    (saved,) = Autosave(tmp_path).pending()
    assert saved.case.draft == Tracing(
        name=CanalName.MB2, anchors_rc=((10.0, 20.0), (60.0, 30.5)), hand_legs=frozenset({0})
    )
    assert time.time() - saved.when.timestamp() < 60.0
