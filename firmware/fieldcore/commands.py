"""Answers to sealed requests: each gives the body of a reply (None: done) or raises Refusal.

Whatever enables sending carries the silence count that the host last saw; a silence in between
makes it refused, so that nothing revives a silenced field by accident.
"""

import struct

from fieldcore import instant, message, sensor
from fieldcore.compat import const
from fieldcore.message import Refusal

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from fieldcore.device import Device

    Values = list[Any]

# made by blindfield.model.generate
_STATUS = const(16)
_STATUS_IS = const(17)
_CLOCK = const(18)
_CLOCK_IS = const(19)
_LOAD = const(20)
_COMMIT = const(21)
_COMMITTED = const(22)
_START = const(23)
_CANCEL = const(24)
_END = const(25)
_WORD = const(26)
_CLEAR = const(27)
_FETCH = const(28)
_RECORDS = const(29)
_REARM = const(30)
_SETTINGS = const(31)
_SETTINGS_ARE = const(32)
_SET_SETTING = const(33)
_TIDY = const(34)
_REVISE = const(35)
_SOUND = const(36)
_DONE = const(63)
_NO_UNKNOWN = const(1)
_NO_LATCHED = const(7)
_NO_SILENCE_COUNT = const(8)
_NO_OTHER_DEVICE = const(11)
_NO_PAST = const(13)
_NO_TOO_LONG = const(14)
_NO_JOURNAL_FULL = const(16)
_NO_BUSY = const(17)
_NO_BATTERY = const(18)
_NO_REVISION = const(19)
_NO_VALUE = const(20)
_NO_RUN = const(21)
_EVENT_REARMED = const(6)
_END_TOLD = const(4)
_END_CANCELLED = const(6)
# end of what is made

_RECORDS_MAX = const(6)
_START_AHEAD_MS = const(86_400_000)  # a day: a timetable is loaded the evening before
_LOAD_ROOM = const(64)  # records that a run may need
_BATTERY_LOW_MV = const(2000)
_ROLE_TARGET = const(0)


def answer(device: "Device", values: "Values") -> bytes:
    """The reply to one sealed request. Raises Refusal."""
    handler = _HANDLERS.get(values[0])
    if handler is None:
        raise Refusal(_NO_UNKNOWN)
    return handler(device, values) or message.pack(_DONE)


def _may_send(device: "Device", count: int) -> None:
    if device.journal.latched:
        raise Refusal(_NO_LATCHED)
    if count != device.journal.silence_count:
        raise Refusal(_NO_SILENCE_COUNT)


def _idle(device: "Device") -> None:
    if device.armed or device.run.running:
        raise Refusal(_NO_BUSY)


def _status(device: "Device", values: "Values") -> bytes:
    clock, journal, run = device.clock, device.journal, device.run
    busy = device.armed or run.running
    revision = run.sheet.revision if run.running else 0
    return message.pack(
        _STATUS_IS,
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
        device.live_left_ms(),
        journal.journal_id,
        journal.last_seq,
        journal.acked_seq,
        min(journal.free(), 0xFFFF),
        device.refusals,
    )


def _clock(device: "Device", values: "Values") -> bytes:
    clock = device.clock
    return message.pack(_CLOCK_IS, device.journal.clock_id, clock.lap, clock.ms, clock.us)


def _load(device: "Device", values: "Values") -> None:
    slot = values[1]
    if slot == device.slot:
        raise Refusal(_NO_BUSY)
    if device.journal.free() < _LOAD_ROOM:
        raise Refusal(_NO_JOURNAL_FULL)
    device.slots.put(slot, values[2], values[3])


def _commit(device: "Device", values: "Values") -> bytes:
    _may_send(device, values[3])
    digest = device.slots.commit(values[1], values[2], device.board.device_id)
    return message.pack(_COMMITTED, values[1], digest)


def _start(device: "Device", values: "Values") -> None:
    slot, ms, us, origin_ms, count = values[1], values[3], values[4], values[5], values[6]
    _may_send(device, count)
    if device.is_armed_for(slot, ms, us):
        return
    _idle(device)
    if device.board.role != _ROLE_TARGET:
        raise Refusal(_NO_OTHER_DEVICE)
    sheet = device.slots.take(slot, device.board.device_id)
    ahead_ms = instant.diff_ms(ms, device.clock.ms)
    lap = (device.clock.lap + (ms < device.clock.ms)) & 0xFF
    if us > 999 or values[2] != lap or not 0 < ahead_ms <= _START_AHEAD_MS:
        raise Refusal(_NO_PAST)
    if origin_ms >= sheet.end_ms:
        raise Refusal(_NO_TOO_LONG)
    if device.board.battery_mv() < _BATTERY_LOW_MV:
        raise Refusal(_NO_BATTERY)
    device.arm(slot, sheet, ms, us, origin_ms)


def _cancel(device: "Device", values: "Values") -> None:
    if values[1] == device.slot:
        device.run.end(_END_TOLD)  # too late to cancel: its sheet is spent
        device.disarm(_END_CANCELLED)


def _end(device: "Device", values: "Values") -> None:
    if values[1] == device.slot:
        device.run.end(_END_TOLD)
        device.disarm(_END_TOLD)


def _word(device: "Device", values: "Values") -> None:
    _may_send(device, values[3])
    run = device.run
    if not run.running or run.sheet.run_id != values[1]:
        raise Refusal(_NO_RUN)
    run.word(values[2], device.clock.ms)


def _clear(device: "Device", values: "Values") -> None:
    if values[1] == device.slot:
        raise Refusal(_NO_BUSY)
    device.slots.clear(values[1])


def _fetch(device: "Device", values: "Values") -> bytes:
    journal = device.journal
    after = values[2] if values[1] == journal.journal_id else 0
    if after:
        journal.ack(values[1], after)
    records = bytearray(_RECORDS_MAX * 32)
    count = journal.read_into(after, records, _RECORDS_MAX)
    return message.pack(
        _RECORDS, journal.journal_id, journal.last_seq, bytes(records[: count * 32])
    )


def _rearm(device: "Device", values: "Values") -> None:
    _idle(device)
    if values[1] != device.journal.silence_count:
        raise Refusal(_NO_SILENCE_COUNT)
    if device.journal.latched:
        count = device.journal.silence_count
        device.note(_EVENT_REARMED, struct.pack("<HBBI", count, 0, 0, 0))
        device.journal.set_silence(count, False)


def _settings(device: "Device", values: "Values") -> bytes:
    return message.pack(_SETTINGS_ARE, device.settings_bytes())


def _set_setting(device: "Device", values: "Values") -> None:
    _idle(device)
    index, value = values[1], values[2]
    if index >= len(device.settings):
        raise Refusal(_NO_VALUE)
    changed = device.settings[:]
    changed[index] = value
    try:
        sensor.check(changed)
    except ValueError:
        raise Refusal(_NO_VALUE)
    device.settings = changed
    device.board.keep_settings(device.settings_bytes())
    device.sense_anew()


def _tidy(device: "Device", values: "Values") -> None:
    _idle(device)  # an erase stops interrupts
    device.journal.tidy()


def _revise(device: "Device", values: "Values") -> None:
    slot = values[1]
    _may_send(device, values[3])
    run = device.run
    if not run.running:
        raise Refusal(_NO_RUN)
    if slot == device.slot:
        return  # this revision is in force already
    sheet = device.slots.take(slot, device.board.device_id)
    if sheet.run_id != run.sheet.run_id:
        raise Refusal(_NO_RUN)
    if sheet.revision <= run.sheet.revision:
        raise Refusal(_NO_REVISION)
    device.slots.spend(device.slot)
    device.slot = slot
    run.revise(sheet, device.clock.ms, values[2])


def _sound(device: "Device", values: "Values") -> None:
    device.sound_at(values[1], values[3], values[4])


_HANDLERS: "dict[int, Callable[[Device, Values], bytes | None]]" = {
    _STATUS: _status,
    _CLOCK: _clock,
    _LOAD: _load,
    _COMMIT: _commit,
    _START: _start,
    _CANCEL: _cancel,
    _END: _end,
    _WORD: _word,
    _CLEAR: _clear,
    _FETCH: _fetch,
    _REARM: _rearm,
    _SETTINGS: _settings,
    _SET_SETTING: _set_setting,
    _TIDY: _tidy,
    _REVISE: _revise,
    _SOUND: _sound,
}
