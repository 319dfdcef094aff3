"""A progress bar on a terminal, and nothing anywhere else."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from typing import TypeVar

T = TypeVar("T")


def with_progress(items: Sequence[T], description: str) -> Iterator[T]:
    """Give the items one by one while a bar on stderr shows how far it is.

    Parameters
    ----------
    items
        What to work on; a single one shows as a moving bar, because nothing tells how far it is.
    description
        What is being done.
    """
    if not sys.stderr.isatty():
        yield from items
        return
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn  # noqa: PLC0415

    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(description, total=len(items) if len(items) > 1 else None)
        for item in items:
            yield item
            bar.advance(task)
