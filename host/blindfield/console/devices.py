"""`blindfield devices`: who answers, and how they are. Shows nothing of any run."""

from __future__ import annotations

import argparse
import asyncio
import json
from typing import Any

from blindfield.conduct.crew import Crew, Member
from blindfield.conduct.owner import ask_owner
from blindfield.console.desk import add_field_argument, add_json_argument, field_of, open_desk
from blindfield.model.errors import LinkBusy
from blindfield.model.field import Field

ROLES = {0: "target", 1: "post"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    under_way = ask_owner(place.folder, "status") or {}
    if under_way.get("phase", "idle") != "idle":
        raise LinkBusy("a run is being conducted on this field.", remedy="Ask again after it.")
    report = asyncio.run(_report(place))
    if options.json:
        print(json.dumps(report, indent=2))
    else:
        _print(report)
    return 0 if not report["absent"] and not report["troubles"] else 1


async def _report(place: Field) -> dict[str, Any]:
    async with open_desk(place) as desk:
        rows = await desk.crew.each(desk.crew.members.values(), _row)
        return {
            "field": place.name,
            "devices": [
                row if isinstance(row, dict) else {"name": name, "trouble": str(row)}
                for name, row in rows.items()
            ],
            "strangers": [_stranger(client) for client in desk.crew.strangers],
            "absent": [target.name for target in desk.crew.absent(place)],
            "troubles": _troubles(desk.crew),
            "recovered": desk.recovered,
        }


def _troubles(crew: Crew) -> list[str]:
    return [str(trouble) for trouble in crew.troubles]


def _stranger(client: Any) -> dict[str, Any]:
    hello = client.hello
    return {
        "port": client.channel.name,
        "device_id": hello.device_id.hex(),
        "role": ROLES.get(hello.role, "unknown"),
    }


async def _row(member: Member) -> dict[str, Any]:
    status = await member.client.status()
    hello = member.client.hello
    assert hello is not None
    return {
        "name": member.name,
        "role": ROLES.get(hello.role, "unknown"),
        "device_id": hello.device_id.hex(),
        "board": hello.board,
        "build": hello.build,
        "port": member.client.channel.name,
        "battery_v": status["battery_mv"] / 1000,
        "silenced": status["latched"],
        "records_free": status["journal_free"],
        "refusals": status["refusals"],
    }


def _print(report: dict[str, Any]) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console()
    for sentence in report["recovered"]:
        console.print(sentence)
    table = Table(title=f"Devices of {report['field']}", title_justify="left")
    for column in ("name", "kind", "battery", "state", "refusals", "port"):
        table.add_column(column, justify="right" if column == "refusals" else "left")
    for row in report["devices"]:
        if "trouble" in row:
            table.add_row(row["name"], "", "", row["trouble"], "", "")
            continue
        state = "silenced: blindfield rearm" if row["silenced"] else "ready"
        battery = f"{row['battery_v']:.2f} V"
        table.add_row(row["name"], row["role"], battery, state, str(row["refusals"]), row["port"])
    console.print(table)
    for name in report["absent"]:
        console.print(f"{name}: does not answer. Is it switched on and plugged in?")
    for row in report["strangers"]:
        console.print(
            f"{row['port']}: a {row['role']} that field.toml does not name: "
            f'device = "{row["device_id"]}"'
        )
    for trouble in report["troubles"]:
        console.print(trouble)
