"""Answers to sealed requests: each gives the body of a reply or raises Refusal.

Whatever enables sending carries the silence count that the host last saw; a silence in between
makes it refused, so that nothing revives a silenced field by accident.
"""

import struct

from fieldcore import instant, message, sensor, wire
from fieldcore.compat import const
from fieldcore.message import Refusal

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from fieldcore.device import Device

    Values = list[Any]

_RECORDS_MAX = const(6)
_START_AHEAD_MS = const(86_400_000)  # a day: a timetable is loaded the evening before
_LOAD_ROOM = const(64)  # records that a run may need
_BATTERY_LOW_MV = const(2000)
_ROLE_TARGET = const(0)


def answer(device: "Device", values: "Values") -> bytes:
    """The reply to one sealed request. Raises Refusal."""
    handler = _HANDLERS.get(values[0])
    if handler is None:
        raise Refusal(wire.NO_UNKNOWN)
    return handler(device, values)


def _done() -> bytes:
    return message.pack(wire.DONE)


def _may_send(device: "Device", count: int) -> None:
    if device.journal.latched:
        raise Refusal(wire.NO_LATCHED)
    if count != device.journal.silence_count:
        raise Refusal(wire.NO_SILENCE_COUNT)


def _idle(device: "Device") -> None:
    if device.armed or device.run.running:
        raise Refusal(wire.NO_BUSY)


def _status(device: "Device", values: "Values") -> bytes:
    clock, journal, run = device.clock, device.journal, device.run
    busy = device.armed or run.running
    revision = run.sheet.revision if run.running else 0
    return message.pack(
        wire.STATUS_IS,
        journal.clock_id,
        clock.lap,
        clock.ms,
        clock.us,
        min(device.board.battery_mv(), 0xFFFF),
        journal.silence_count,
        bool(journal.latched),
        2 if run.running else int(device.armed),
        device.slot,
        revision,
        busy,
        run.live_left_ms(clock.ms),
        journal.journal_id,
        journal.last_seq,
        journal.acked_seq,
        min(journal.free(), 0xFFFF),
        device.refusals,
    )


def _clock(device: "Device", values: "Values") -> bytes:
    clock = device.clock
    return message.pack(wire.CLOCK_IS, device.journal.clock_id, clock.lap, clock.ms, clock.us)


def _load(device: "Device", values: "Values") -> bytes:
    slot = values[1]
    if slot == device.slot:
        raise Refusal(wire.NO_BUSY)
    if device.journal.free() < _LOAD_ROOM:
        raise Refusal(wire.NO_JOURNAL_FULL)
    device.slots.put(slot, values[2], values[3])
    return _done()


def _commit(device: "Device", values: "Values") -> bytes:
    _may_send(device, values[3])
    digest = device.slots.commit(values[1], values[2], device.board.device_id)
    return message.pack(wire.COMMITTED, values[1], digest)


def _start(device: "Device", values: "Values") -> bytes:
    slot, ms, us, origin_ms, count = values[1], values[3], values[4], values[5], values[6]
    _may_send(device, count)
    if device.is_armed_for(slot, ms, us):
        return _done()
    _idle(device)
    if device.board.role != _ROLE_TARGET:
        raise Refusal(wire.NO_OTHER_DEVICE)
    sheet = device.slots.take(slot, device.board.device_id)
    ahead_ms = instant.diff_ms(ms, device.clock.ms)
    if us > 999 or not 0 < ahead_ms <= _START_AHEAD_MS:
        raise Refusal(wire.NO_PAST)
    if origin_ms >= sheet.end_ms:
        raise Refusal(wire.NO_TOO_LONG)
    if device.board.battery_mv() < _BATTERY_LOW_MV:
        raise Refusal(wire.NO_BATTERY)
    device.arm(slot, sheet, ms, us, origin_ms)
    return _done()


def _cancel(device: "Device", values: "Values") -> bytes:
    if values[1] == device.slot:
        device.run.end(wire.END_CANCELLED)
        device.disarm(wire.END_CANCELLED)
    return _done()


def _end(device: "Device", values: "Values") -> bytes:
    if values[1] == device.slot:
        device.run.end(wire.END_TOLD)
        device.disarm(wire.END_TOLD)
    return _done()


def _word(device: "Device", values: "Values") -> bytes:
    _may_send(device, values[3])
    run = device.run
    if not run.running or run.sheet.run_id != values[1]:
        raise Refusal(wire.NO_RUN)
    run.word(values[2], device.clock.ms)
    return _done()


def _clear(device: "Device", values: "Values") -> bytes:
    if values[1] == device.slot:
        raise Refusal(wire.NO_BUSY)
    device.slots.clear(values[1])
    return _done()


def _fetch(device: "Device", values: "Values") -> bytes:
    journal = device.journal
    after = values[2] if values[1] == journal.journal_id else 0
    if after:
        journal.ack(values[1], after)
    records = bytearray(_RECORDS_MAX * 32)
    count = journal.read_into(after, records, _RECORDS_MAX)
    return message.pack(
        wire.RECORDS, journal.journal_id, journal.last_seq, bytes(records[: count * 32])
    )


def _rearm(device: "Device", values: "Values") -> bytes:
    _idle(device)
    if values[1] != device.journal.silence_count:
        raise Refusal(wire.NO_SILENCE_COUNT)
    if device.journal.latched:
        count = device.journal.silence_count
        device.note(wire.EVENT_REARMED, struct.pack("<HBBI", count, 0, 0, 0))
        device.journal.set_silence(count, False)
    return _done()


def _settings(device: "Device", values: "Values") -> bytes:
    return message.pack(wire.SETTINGS_ARE, device.settings_bytes())


def _set_setting(device: "Device", values: "Values") -> bytes:
    _idle(device)
    index, value = values[1], values[2]
    if index >= len(device.settings):
        raise Refusal(wire.NO_VALUE)
    changed = device.settings[:]
    changed[index] = value
    try:
        sensor.check(changed)
    except ValueError:
        raise Refusal(wire.NO_VALUE)
    device.settings = changed
    device.board.keep_settings(device.settings_bytes())
    device.sense_anew()
    return _done()


def _tidy(device: "Device", values: "Values") -> bytes:
    _idle(device)  # an erase stops interrupts
    device.journal.tidy()
    return _done()


def _revise(device: "Device", values: "Values") -> bytes:
    slot = values[1]
    _may_send(device, values[3])
    run = device.run
    if not run.running:
        raise Refusal(wire.NO_RUN)
    if slot == device.slot:
        return _done()  # this revision is in force already
    sheet = device.slots.take(slot, device.board.device_id)
    if sheet.run_id != run.sheet.run_id:
        raise Refusal(wire.NO_RUN)
    if sheet.revision <= run.sheet.revision:
        raise Refusal(wire.NO_REVISION)
    device.slots.spend(device.slot)
    device.slot = slot
    run.revise(sheet, device.clock.ms, values[2])
    return _done()


def _sound(device: "Device", values: "Values") -> bytes:
    device.sound_at(values[1], values[3], values[4])
    return _done()


_HANDLERS: "dict[int, Callable[[Device, Values], bytes]]" = {
    wire.STATUS: _status,
    wire.CLOCK: _clock,
    wire.LOAD: _load,
    wire.COMMIT: _commit,
    wire.START: _start,
    wire.CANCEL: _cancel,
    wire.END: _end,
    wire.WORD: _word,
    wire.CLEAR: _clear,
    wire.FETCH: _fetch,
    wire.REARM: _rearm,
    wire.SETTINGS: _settings,
    wire.SET_SETTING: _set_setting,
    wire.TIDY: _tidy,
    wire.REVISE: _revise,
    wire.SOUND: _sound,
}
