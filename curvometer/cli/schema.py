"""``curvometer schema``: the published form of every JSON that the program writes."""

from __future__ import annotations

import json
from argparse import Namespace


def run(arguments: Namespace) -> int:
    """Print the schema."""
    from curvometer.record import json_schema  # noqa: PLC0415

    print(json.dumps(json_schema(arguments.document), indent=2))
    return 0
