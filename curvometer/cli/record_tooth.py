"""Which tooth a record is of: as it says, or as an option says; never two."""

from __future__ import annotations

from argparse import Namespace

from curvometer.cli.arguments import UsageError
from curvometer.record import CaseRecord


def take_tooth(arguments: Namespace, record: CaseRecord) -> None:
    """Let the record's tooth stand for an option that was left out.

    Raises
    ------
    UsageError
        When the option names another tooth.
    """
    if record.tooth is None:
        return
    if arguments.tooth not in (None, record.tooth):
        raise UsageError(
            f"--tooth {arguments.tooth} is not the tooth of {arguments.record}, which is {record.tooth}: leave it out, or"
            " measure the other tooth"
        )
    arguments.tooth = record.tooth
