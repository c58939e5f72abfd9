"""Frames that a device would obey, and the same ones changed on the way."""

from __future__ import annotations

import random
from typing import Any

from blindfield.links.client import DeviceClient
from fieldcore import frame, message, opening, sheet, wire
from fieldcore.device import Device
from support.every_medium import Way

RUN_ID = b"run-0001"
_AHEAD = 1000
"""Of the counter: unchanged, each of these would be obeyed."""


def requests(device: Device) -> list[bytes]:
    """A body of each kind of request that changes something."""
    return [
        message.pack(wire.LOAD, 1, 0, bytes(96)),
        message.pack(wire.COMMIT, 0, bytes(8), 0),
        message.pack(wire.START, 0, 0, 9_000_000, 0, 0, 0),
        message.pack(wire.CANCEL, 0),
        message.pack(wire.END, 0),
        message.pack(wire.WORD, RUN_ID, 1, 0),
        message.pack(wire.CLEAR, 2),
        message.pack(wire.FETCH, device.journal.journal_id, 1),
        message.pack(wire.REARM, 0),
        message.pack(wire.SET_SETTING, 2, 700),
        message.pack(wire.REVISE, 0, True, 0),
        message.pack(wire.SOUND, 1, 0, 0, 0),
        message.pack(wire.TIDY),
    ]


class Mutator:
    """Makes changed frames, one after the other, for the address that the device has."""

    def __init__(self, client: DeviceClient, device: Device, address: int, seed: int = 1) -> None:
        sealed = client._sealed
        assert sealed is not None
        self._rng = random.Random(seed)
        self._address = address
        self._bodies = []
        for place, body in enumerate(requests(device)):
            counter = sealed.counter + _AHEAD + place
            way = opening.TO_DEVICE
            tag = opening.seal_tag(sealed.key, way, sealed.device_id, counter, body)
            self._bodies.append([wire.REQUEST, counter, body, tag])

    def right(self) -> bytes:
        """A frame as it was before any change."""
        return b"\0" + frame.encode(self._address, message.pack(*self._bodies[6]))

    def next(self) -> bytes:
        """On the line, or inside with a right sum: then only the tag can tell."""
        values = self._rng.choice(self._bodies)
        if self._rng.random() < 0.5:
            return b"\0" + self._inside(values)
        whole = frame.encode(self._address, message.pack(*values))[:-1]
        changed = whole
        while whole in changed.split(b"\0"):  # what only stands beside it leaves a frame as it is
            changed = _changed(whole, self._rng)
        return b"\0" + changed + b"\0"

    def _inside(self, values: list[Any]) -> bytes:
        changed = list(values)
        place = self._rng.randrange(1, 4)
        if place == 1:
            changed[1] = (values[1] + self._rng.randrange(1, 1 << 32)) & 0xFFFFFFFF
        else:
            while changed[place] == values[place]:
                changed[place] = _changed(values[place], self._rng)
            if place == 3:
                changed[3] = (changed[3] + bytes(8))[:8]
        if changed == values:
            return self._inside(values)
        return frame.encode(self._address, message.pack(*changed)[: frame.MAX_BODY])


def _changed(data: bytes, rng: random.Random) -> bytes:
    """One to three changes: bits turned over, bytes lost, doubled, put in, or the end cut off."""
    out = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        place = rng.randrange(len(out) or 1)
        kind = rng.randrange(5)
        if kind == 0 or not out:
            out[place : place + 1] = rng.randbytes(1)
        elif kind == 1:
            out[place] ^= 1 << rng.randrange(8)
        elif kind == 2:
            del out[place : place + rng.randrange(1, 4)]
        elif kind == 3:
            out[place:place] = out[place : place + rng.randrange(1, 9)]
        else:
            del out[place:]
    return bytes(out[:110])


def state_of(device: Device) -> tuple[object, ...]:
    """All that a request can change. Counted refusals are no state."""
    journal, slots = device.journal, device.slots
    return (
        journal.last_seq,
        journal.acked_seq,
        journal.silence_count,
        journal.latched,
        bytes(slots._data),
        tuple(slots._filled),
        bytes(slots._state),
        tuple(device.settings),
        device.armed,
        device.slot,
        device.run.running,
        device._sound,
        device.opening.link,
        device.opening._counter,
    )


async def stand_mutations(way: Way, count: int, seed: int = 1) -> int:
    """So many changed frames against a device with a sheet set; how many it refused.

    Raises AssertionError when one changes anything, or when the device would not have obeyed it
    unchanged.
    """
    client = await way.client()
    await client.connect()
    await set_sheet(client)
    await client.status()
    address = getattr(client.channel, "seat", None)
    mutator = Mutator(client, way.device, address.address if address else 1, seed)
    before, refused = state_of(way.device), way.device.refusals
    for _ in range(count):
        await way.inject(mutator.next())
        assert state_of(way.device) == before
    refused = (way.device.refusals - refused) & 0xFFFF
    await way.inject(mutator.right())
    assert state_of(way.device)[-1] != before[-1]
    await client.connect()
    assert (await client.status())["state"] == 1
    await client.close()
    return refused


async def set_sheet(client: DeviceClient, ahead_ms: int = 80_000_000) -> None:
    """A sheet in slot 0 that sends from its start, which is set so far ahead."""
    assert client.hello is not None
    cues = [[wire.CUE_AT, 0, 0, True]]
    fields = [client.hello.device_id, RUN_ID, 1, 1_000_000, 100_000, 0, 1_200_000, 1_200_000, cues]
    data = sheet.write(sheet.Sheet(fields))
    for offset in range(0, len(data), 96):
        await client.request("load", 0, offset, data[offset : offset + 96])
    count = (await client.status())["silence_count"]
    await client.request("commit", 0, sheet.digest(data), count)
    now = await client.request("clock")
    at_ms = now["ms"] + ahead_ms
    await client.request("start", 0, now["lap"], at_ms, now["us"], 0, count)
