"""A stranger with a scanner, who reads every attribute, learns nothing of who is in play."""

from __future__ import annotations

import asyncio
import math
import random
import statistics
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from support.ble_bench import RadioBench
from support.device_bench import sheet_bytes

DEVICES, DRAWN, ROUNDS = 6, 2, 40
RUN_MS = 20_000
FULL_MV, SAGGED_MV = 3900, 3500  # sending pulls the battery down


def played(drawn: set[int], draw: random.Random) -> list[RadioBench]:
    """One run: every device has a sheet of the same size, the drawn ones send."""
    benches = []
    for number in range(DEVICES):
        device_id = b"blind-%02d" % number
        bench = RadioBench(device_id=device_id)
        bench.board.volts_mv = FULL_MV
        bench.pass_ms(61_000)  # it was parked, and told its battery
        cues = None if number in drawn else []
        data = sheet_bytes(device_id=device_id, cues=cues, end_ms=RUN_MS, lease_ms=RUN_MS)
        assert bench.open()[0] != 6
        bench.run(data=data)
        if number in drawn:
            bench.board.volts_mv = SAGGED_MV
        bench.pass_ms(draw.randrange(3000, 6000))
        if number in drawn:
            bench.strike()
        bench.until(bench.start_us + 1000 * (RUN_MS + 120_000))
        assert bool(bench.board.pulses) == (number in drawn)
        benches.append(bench)
    return benches


def seen(bench: RadioBench) -> list[float]:
    """What can be told of one device in numbers, its name left out."""
    stretches = bench.advertised(bench.now_us // 1000)
    payloads = sorted({data for _, data in stretches if data is not None})
    answers = {said[2][:13] for said in bench.radio.said if said[1] is not None}
    values = [value for handle, value in sorted(bench.radio.values.items()) if handle != 16]
    return [
        float(len(stretches)),
        float(sum(ms for ms, data in stretches if data is not None)),
        float(len(bench.radio.said)),
        float(hash(tuple(payloads))),
        float(hash(frozenset(answers))),
        float(hash(tuple(values))),
        float(bench.radio.dropped),
    ]


def guess(benches: list[RadioBench], draw: random.Random) -> set[int]:
    """The devices that stand out most; among equals, any."""
    table = [seen(bench) for bench in benches]
    score = [0.0] * len(table)
    for column in zip(*table, strict=True):
        middle = statistics.median(column)
        widest = max(abs(value - middle) for value in column) or 1.0
        for place, value in enumerate(column):
            score[place] += abs(value - middle) / widest
    order = sorted(range(len(table)), key=lambda place: (-score[place], draw.random()))
    return set(order[:DRAWN])


def hits(rounds: int, prepare: Callable[[], Any] = lambda: None) -> int:
    draw = random.Random(457)
    found = 0
    for _ in range(rounds):
        prepare()
        drawn = set(draw.sample(range(DEVICES), DRAWN))
        found += len(guess(played(drawn, draw), draw) & drawn)
    return found


def test_the_attacker_guesses_no_better_than_chance() -> None:
    expected = ROUNDS * DRAWN * DRAWN / DEVICES
    # hypergeometric: the variance of one round is 2 * 1/3 * 2/3 * 4/5
    spread = math.sqrt(ROUNDS * DRAWN / 3 * 2 / 3 * (DEVICES - DRAWN) / (DEVICES - 1))
    assert abs(hits(ROUNDS) - expected) < 4 * spread


def test_the_attacker_would_find_them_by_a_battery_told_in_the_run(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import fielddevice.links.ble as ble

    monkeypatch.setattr(ble, "_FROZEN_MS", -1)
    assert hits(8) == 8 * DRAWN


def test_on_the_air_all_look_alike_in_a_run(tmp_path: Path) -> None:
    pytest.importorskip("bumble")
    from bumble.device import Peer

    from support.ble_field import ble_field
    from support.ble_host import ble_host, until

    async def main() -> None:
        async with ble_field(tmp_path, 4) as air:
            async with ble_host(air) as host:
                for name in air.targets:
                    await host.start(name, cues=None if name in "13" else [], in_ms=300)
            for name in "13":
                air.tell(name, do="set", values={"battery_mv": 3000})
            await until(lambda: all(air.targets[name].pulses for name in "13"))
            stranger = await air.central("stranger")
            looks: dict[str, set[tuple[bytes, bool]]] = {}

            def note(one: Any) -> None:
                said = one.data_bytes.replace(one.data.get(9, raw=True), b"")
                looks.setdefault(str(one.address)[:17], set()).add((said, one.is_connectable))

            stranger.device.on("advertisement", note)
            await stranger.device.start_scanning(filter_duplicates=False)
            await until(lambda: len(looks) == 4)
            await stranger.device.stop_scanning()
            assert len({frozenset(look) for look in looks.values()}) == 1
            told = set()
            for board in air.boards.values():
                peer = Peer(await stranger.device.connect(board.address, timeout=5))
                await peer.discover_all()
                values = []
                for service in peer.services:
                    for one in service.characteristics:
                        own = one.uuid.to_hex_str() in ("2A00", "2A25")  # name and number
                        if one.properties & 0x02 and not own:
                            values.append((one.uuid.to_hex_str(), await one.read_value()))
                told.add(tuple(values))
                await peer.connection.disconnect()
            assert len(told) == 1

    asyncio.run(main())
