"""`blindfield rearm`: lift the latch of silence; an act of its own, never part of a run."""

from __future__ import annotations

import argparse
import asyncio
import json

from blindfield.conduct.rearming import rearm_to_stay
from blindfield.console.ask import confirmed
from blindfield.console.desk import add_field_argument, add_json_argument, field_of, open_desk
from blindfield.model.errors import NotReady
from blindfield.model.field import Field

QUESTION = "Is everybody safe, out of the holes and accounted for? Type yes: "


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument(
        "--all-are-safe", action="store_true", help="answer the question beforehand"
    )


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    if not options.all_are_safe and not confirmed(QUESTION):
        raise NotReady(
            "not re-armed: nobody said that all are safe.", remedy="The field is silent."
        )
    results = asyncio.run(_rearm(place))
    failed = {name: text for name, text in results.items() if text}
    if options.json:
        print(json.dumps({"rearmed": [n for n in results if n not in failed], "failed": failed}))
    else:
        for name, text in results.items():
            print(f"{name}: {text or 're-armed'}")
    return 1 if failed else 0


async def _rearm(place: Field) -> dict[str, str]:
    async with open_desk(place) as desk:
        return await rearm_to_stay(place, desk.crew)
