"""``curvometer recommenders``: who is asked for instrument sequences."""

from __future__ import annotations

import json
from argparse import Namespace

from curvometer.sequence import ENTRY_POINT_GROUP, InstalledRecommender, installed_recommenders


def run(arguments: Namespace) -> int:
    """List them; nothing of theirs is run."""
    found = installed_recommenders()
    if arguments.json:
        print(json.dumps({"group": ENTRY_POINT_GROUP, "recommenders": [_plain(each) for each in found]}))
        return 0
    if not found:
        print(
            f"No recommender is installed; packages name theirs in the entry point group {ENTRY_POINT_GROUP}."
        )
        return 0
    width = max(len(each.name) for each in found)
    for each in found:
        print(f"{each.name:<{width}}  {each.target}  ({each.package or 'package unknown'})")
    return 0


def _plain(each: InstalledRecommender) -> dict[str, str]:
    return {"name": each.name, "target": each.target, "package": each.package}
