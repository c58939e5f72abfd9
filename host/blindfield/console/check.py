"""`blindfield check`: before a session, is every device fit, and what may go unheard?"""

from __future__ import annotations

import argparse
import asyncio
import json
from dataclasses import asdict
from typing import Any

from blindfield.conduct.field_check import Looked, Report, Snow, look_at
from blindfield.console.desk import add_field_argument, add_json_argument, field_of, open_desk
from blindfield.console.one_sends import lying
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Point

_VERDICTS = {"holds": "holds", "unsure": "may go unheard", "fails": "will go unheard"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument(
        "--at",
        nargs=2,
        type=float,
        metavar=("X", "Y"),
        help="where this computer stands, metres (default: the first start point)",
    )
    parser.add_argument(
        "--wet",
        type=float,
        default=Snow().wetness_percent,
        metavar="PERCENT",
        help="water in the snow: dry 0, moist under 3, wet 3 to 8, very wet 8 to 15 (default 0)",
    )
    parser.add_argument(
        "--density",
        type=float,
        default=Snow().density_kg_m3,
        metavar="KG_M3",
        help="of the snow over the targets (default 300)",
    )


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    lain = lying(place).field
    start = place.start_points[0]
    host_m = (start.x_m, start.y_m) if options.at is None else (options.at[0], options.at[1])
    report, troubles = asyncio.run(_look(lain, host_m, Snow(options.density, options.wet)))
    if options.json:
        print(json.dumps(_as_json(report, troubles), indent=2))
    else:
        _print(place, report, troubles)
    return 0 if report.fit and not troubles else 1


async def _look(place: Field, host_m: Point, snow: Snow) -> tuple[Report, list[str]]:
    async with open_desk(place) as desk:
        try:
            report = await look_at(place, desk.crew, host_m, snow)
        except ValueError as error:
            raise ConfigError(f"{error}.", remedy="Correct --density, --wet or --at.") from error
        return report, [*desk.recovered, *map(str, desk.crew.troubles)]


def _as_json(report: Report, troubles: list[str]) -> dict[str, Any]:
    return {"fit": report.fit, **asdict(report), "troubles": troubles}


def _print(place: Field, report: Report, troubles: list[str]) -> None:
    from rich import box
    from rich.console import Console
    from rich.table import Table

    console = Console()
    radio = any(looked.link for looked in report.devices)
    table = Table(box=box.SIMPLE_HEAD, header_style="dim", pad_edge=False, show_edge=False)
    for column in ("", "battery", "answers in", *(("radio",) if radio else ()), "", "do"):
        table.add_column(column, overflow="fold")
    for looked in report.devices:
        cells = [looked.name, _volts(looked), _reply(looked)]
        cells += [_radio(looked)] if radio else []
        table.add_row(*cells, looked.trouble or "fit", looked.advice)
    console.print(table)
    for line in (*troubles, *_bound(report), *report.said):
        console.print(line, highlight=False)
    fit = f"{place.name} is fit." if report.fit and not troubles else "Not fit yet: see above."
    console.print(fit, style="bold", highlight=False)


def _volts(looked: Looked) -> str:
    return "" if looked.battery_v is None else f"{looked.battery_v:.1f} V"


def _reply(looked: Looked) -> str:
    return "" if looked.reply_ms is None else f"{looked.reply_ms:.0f} ms"


def _radio(looked: Looked) -> str:
    if looked.link is None:
        return ""
    link = looked.link
    return f"{_VERDICTS[link.verdict]} ({link.low_db:.0f} to {link.high_db:.0f} dB left, a model)"


def _bound(report: Report) -> list[str]:
    minutes = f"{report.unsilenced_s / 60:.1f} min"
    line = f"A target that hears nothing can go on sending for {minutes} at the longest."
    if report.lease_s is None:
        return [f"{line} Shorter: lease_s in field.toml."]
    return [f"{line} (lease_s in field.toml.)"]
