"""``curvometer mark``: one student's submission to points with their reasons, and pictures of both tracings."""

from __future__ import annotations

import json
from argparse import Namespace
from pathlib import Path

from curvometer.assessment.expectations import Expectations, expect
from curvometer.assessment.files import load_key, load_submission
from curvometer.assessment.hand_out import HandOut, open_hand_out
from curvometer.assessment.marking import mark_submission
from curvometer.assessment.rubric_file import load_rubric
from curvometer.assessment.submission import Submission
from curvometer.cli.argument_kinds import UsageError
from curvometer.cli.mark_text import mark_text, mark_to_plain
from curvometer.saving import check_outputs


def run(arguments: Namespace) -> int:
    """Mark, draw, print."""
    hand_out = open_hand_out(arguments.exercise)
    rubric = None if arguments.rubric is None else load_rubric(Path(arguments.rubric))
    expectations = expect(hand_out.sheet, load_key(arguments.key), rubric)
    submission = load_submission(arguments.submission)
    pictures = _pictures(arguments, expectations, submission)
    mark = mark_submission(expectations, submission)
    if pictures:
        _draw(arguments, expectations, submission, hand_out, pictures)
    if arguments.json:
        print(json.dumps(mark_to_plain(mark, expectations.rubric, pictures), allow_nan=False))
    else:
        print(mark_text(mark, expectations.rubric, source=Path(arguments.submission).name, pictures=pictures))
    return 0


def _pictures(arguments: Namespace, expectations: Expectations, submission: Submission) -> dict[str, Path]:
    """Where the picture of each answered image goes; nothing is drawn when one of them could not be written."""
    if arguments.pictures is None:
        return {}
    folder = Path(arguments.pictures)
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"--pictures {folder} is a file: give a folder")
    answered = [name for name in expectations.images if submission.answer(name) is not None]
    paths = {name: folder / f"{submission.student}-{name}.png" for name in answered}
    inputs = [Path(name) for name in (arguments.submission, arguments.key, arguments.exercise)]
    folder.mkdir(parents=True, exist_ok=True)
    check_outputs(list(paths.values()), inputs=inputs, overwrite=arguments.overwrite)
    return paths


def _draw(
    arguments: Namespace,
    expectations: Expectations,
    submission: Submission,
    hand_out: HandOut,
    pictures: dict[str, Path],
) -> None:
    from curvometer.assessment.feedback import feedback_picture  # noqa: PLC0415 - only where pictures are wanted
    from curvometer.overlay import write_png  # noqa: PLC0415

    for name, path in pictures.items():
        answer = submission.answer(name)
        if answer is not None:
            picture = feedback_picture(expectations, name, answer, hand_out.radiograph(name))
            write_png(picture, path, overwrite=arguments.overwrite)
