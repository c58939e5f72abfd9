"""Compiles a scenario into one cue sheet for each device, on that device's clock."""

from __future__ import annotations

from blindfield.model import messages
from blindfield.model.scenario import Cue, Part, Scenario
from fieldcore import sheet as core

_TRIGGERS = {name: number for number, (name, _) in enumerate(messages.TRIGGERS, 1)}


def sheet_of(
    scenario: Scenario,
    part: Part,
    *,
    run_id: bytes,
    revision: int,
    rate: float,
    lease_s: float | None,
    origin_s: float = 0.0,
) -> bytes:
    """The sheet of `part` in bytes.

    `rate`: microseconds of the device's clock in one of the host's. `origin_s`: run time at which
    the device will start (not 0 after a reboot): its phase is moved so that its pulses keep their
    places. `lease_s` None: the whole length of the run.
    """
    end_ms = _device_ms(scenario.end_s, rate)
    lease_ms = end_ms if lease_s is None else min(end_ms, _device_ms(lease_s, rate))
    low, high = messages.LEASE_MS
    period_us = round(part.period_us * rate)
    phase_us = round((part.phase_us - origin_s * 1e6) * rate) % period_us
    fields = [
        bytes.fromhex(part.device_id),
        run_id,
        revision,
        period_us,
        round(part.on_us * rate),
        phase_us,
        max(low, min(high, lease_ms)),
        min(end_ms, messages.RUN_CAP_MS),
        [_cue(cue, rate) for cue in part.cues],
    ]
    return core.write(core.Sheet(fields))


def _cue(cue: Cue, rate: float) -> list[object]:
    time_ms = core.ELSE_NEVER if cue.time_s is None else _device_ms(cue.time_s, rate)
    return [_TRIGGERS[cue.trigger], time_ms, cue.word, cue.sends]


def _device_ms(seconds: float, rate: float) -> int:
    return round(seconds * 1000 * rate)
