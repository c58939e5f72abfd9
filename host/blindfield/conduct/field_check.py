"""Is the field fit for a session? What each device says, and what may keep it from hearing us."""

from __future__ import annotations

import asyncio
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from blindfield.conduct.checks import BATTERY_LOW_V, BATTERY_SOON_V, CLOCK_WIDTH_S
from blindfield.conduct.crew import Crew, Member
from blindfield.drills.draw import LONGEST_S
from blindfield.model.field import Field, Point
from blindfield.physics.link_margin import Verdict, margin

RADIO = "ble"
LOOKS = 4


@dataclass(frozen=True)
class Snow:
    """What lies over the targets, for the radio. Wetness in percent of the volume."""

    density_kg_m3: float = 300.0
    wetness_percent: float = 0.0


@dataclass(frozen=True)
class LinkBand:
    """What is left of a radio link, dB, by a model with wide assumptions."""

    low_db: float
    high_db: float
    verdict: Verdict


@dataclass(frozen=True)
class Looked:
    """One device: `trouble` says why it is not fit, empty when it is. `reply_ms`: how long it took
    to answer, the best of a few; None where it did not."""

    name: str
    role: str
    battery_v: float | None = None
    reply_ms: float | None = None
    clock_ms: float | None = None
    silenced: bool = False
    refusals: int = 0
    link: LinkBand | None = None
    trouble: str = ""
    advice: str = ""


@dataclass(frozen=True)
class Report:
    """`unsilenced_s`: the longest time for which a target out of reach could not be silenced."""

    devices: tuple[Looked, ...]
    unsilenced_s: float
    lease_s: float | None
    said: tuple[str, ...]

    @property
    def fit(self) -> bool:
        return not any(looked.trouble for looked in self.devices)


async def look_at(place: Field, crew: Crew, host_m: Point, snow: Snow) -> Report:
    """Ask every device, and reckon each radio link from the host's place `host_m`.

    Raises ValueError for snow that cannot be.
    """
    radio = any(url.partition(":")[0] == RADIO for url in place.media)
    links, said = _links(place, host_m, snow) if radio else ({}, ())
    rows = await crew.each(crew.members.values(), _ask)
    looked = [
        row if isinstance(row, Looked) else Looked(name, "", trouble=str(row))
        for name, row in rows.items()
    ]
    looked += [_absent(target.name) for target in crew.absent(place)]
    devices = tuple(_with_link(one, links.get(one.name)) for one in looked)
    lease_s = place.lease_s
    unsilenced_s = LONGEST_S if lease_s is None else min(LONGEST_S, lease_s)
    return Report(devices, unsilenced_s, lease_s, tuple(said))


async def _ask(member: Member) -> Looked:
    clock = asyncio.get_running_loop().time
    replies_ms = []
    status: Mapping[str, int] = {}
    for _ in range(LOOKS):
        begin_s = clock()
        status = await member.client.status()
        replies_ms.append(1000 * (clock() - begin_s))
    await member.client.sync(LOOKS)
    width_s = member.client.clock.width_s
    battery_v = status["battery_mv"] / 1000
    trouble, advice = _fault(battery_v, width_s, bool(status["latched"]), status["journal_free"])
    return Looked(
        name=member.name,
        role="target" if member.is_target else "post",
        battery_v=battery_v,
        reply_ms=min(replies_ms),
        clock_ms=None if math.isinf(width_s) else 1000 * width_s,
        silenced=bool(status["latched"]),
        refusals=status["refusals"],
        trouble=trouble,
        advice=advice,
    )


def _fault(battery_v: float, width_s: float, latched: bool, free: int) -> tuple[str, str]:
    """(what keeps a run from starting, what to do), the gravest first; what is no fault yet has
    only the second."""
    if latched:
        return "was silenced", "when all are safe: blindfield rearm"
    if battery_v < BATTERY_LOW_V:
        return "battery empty", "change its cells, or leave it out"
    if width_s > CLOCK_WIDTH_S:
        return "its times are too coarse", "mend or shorten its link"
    if free < _RECORDS_OF_A_RUN:
        return "its memory is full", "let it answer for a minute, then ask again"
    if battery_v < BATTERY_SOON_V:
        return "", "change its cells soon"
    return "", ""


_RECORDS_OF_A_RUN = 64


def _absent(name: str) -> Looked:
    return Looked(
        name,
        "target",
        trouble="does not answer",
        advice="switch it on; move the computer nearer, or use a wire",
    )


def _links(place: Field, host_m: Point, snow: Snow) -> tuple[dict[str, LinkBand], Sequence[str]]:
    bands: dict[str, LinkBand] = {}
    said: dict[str, None] = {}
    for target in place.targets:
        away_m = math.dist(host_m, (target.x_m, target.y_m))
        left = margin(
            max(target.depth_m, 0.05),
            max(away_m, 0.5),
            density_kg_m3=snow.density_kg_m3,
            wetness_percent=snow.wetness_percent,
        )
        low_db, high_db = float(left.low_db), float(left.high_db)
        bands[target.name] = LinkBand(low_db, high_db, left.verdict)
        said |= dict.fromkeys(left.said)
    return bands, tuple(said)


def _with_link(looked: Looked, link: LinkBand | None) -> Looked:
    if link is None:
        return looked
    advice = looked.advice
    if not advice and link.verdict != "holds":
        advice = "may go unheard: computer nearer, a wire, or lease_s shorter in field.toml"
    return Looked(**{**looked.__dict__, "link": link, "advice": advice})
