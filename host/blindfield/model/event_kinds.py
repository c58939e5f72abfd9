"""The registry of event kinds.

Append only: a kind or a field that was ever written stays, with its meaning, because logbooks
outlive programs. A new field is added to its kind here before the first event carries it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Source = Literal["device", "host", "person"]


@dataclass(frozen=True)
class Kind:
    """`fields`: name -> meaning of everything that an event's `data` may hold; all optional."""

    name: str
    sources: tuple[Source, ...]
    doc: str
    fields: Mapping[str, str]


KINDS: dict[str, Kind] = {}

_ANY = {
    "device": "name of the device in the field",
    "note": "free text for people",
    "flags": "list of words that a debrief shows",
}
_JOURNAL = {
    "run_tag": "the device's short tag of the run, u16",
    "journal_flags": "flags byte of the journal record",
    "payload": "the record's eight payload bytes, hex",
}


def _kind(name: str, source: Source | tuple[Source, ...], doc: str, **fields: str) -> None:
    if name in KINDS:
        raise ValueError(f"kind {name!r} is registered twice")
    sources = source if isinstance(source, tuple) else (source,)
    journal = _JOURNAL if "device" in sources else {}
    KINDS[name] = Kind(name, sources, doc, {**_ANY, **journal, **fields})


# fmt: off
_kind("boot", "device", "the device started; its clock is new",
      reason="why: power, reset, watchdog, knock", battery_mv="battery, millivolts",
      build="build of the device's program")
_kind("strike", "device", "the sensor felt a probe strike",
      shape="sharp or push", strength="how hard, 0-255", strength_mg="peak acceleration, milli-g",
      travel_um="plate travel, micrometres", number="strike number of this sheet, from 1",
      sending="whether the target's carrier was keyed", in_play="whether its sheet makes it send",
      axis="axis of the largest deflection")
_kind("dug_out", "device", "the target was lifted or turned out of its hole",
      tilt_deg="tilt since the sheet began, degrees")
_kind("knock", "device", "the knock pattern was felt", knocks="knocks counted")
_kind("silenced", "device", "silence was taken and latched",
      count="the device's silence count after it",
      cause="frame, air, knock, button")
_kind("rearmed", "device", "someone re-armed the device after a silence",
      count="the silence count that was cleared")
_kind("started", "device", "a loaded sheet began", slot="slot of the sheet",
      revision="revision of the sheet", elapsed_ms="run time at that instant, ms")
_kind("sends", "device", "the carrier began to be keyed", cue="number of the cue in its sheet",
      period_us="keying period", on_us="keying on-time", phase_us="keying phase")
_kind("rests", "device", "the carrier ceased to be keyed", cue="number of the cue in its sheet")
_kind("ended", "device", "the sheet ended on the device",
      cause="sheet, cap, lease, told, silence, cancelled", slot="slot of the sheet",
      revision="revision of the sheet")
_kind("gap", ("device", "host"), "journal numbers are missing or samples were lost",
      first_seq="first missing number", last_seq="last missing number",
      samples="samples lost", cause="why, where known")
_kind("record", "device", "a journal record of a kind that this program does not know",
      code="its kind byte")

_kind("run_drawn", "host", "a scenario was drawn and committed to",
      field_name="name of the field", scenario="the scenario as JSON",
      salt="32 random bytes, hex", commitment="SHA-256 over salt and scenario, hex",
      seed="seed of the draw", sheets="device name -> sheet, hex",
      settings="settings the run was made with")
_kind("checked", "host", "the field was checked before a start",
      passed="whether a start is allowed", findings="list of findings",
      silence_bound_s="longest time this field could not be silenced", battery_mv="millivolts",
      silence_count="the device's silence count", clock_error_ms="half width of the clock bracket",
      link_margin_db="link margin, decibels")
_kind("loaded", "host", "a device holds its sheet and read its digest back",
      slot="slot of the sheet", revision="revision of the sheet",
      digest="first eight bytes of SHA-256 of the sheet, hex")
_kind("load_failed", "host", "a device did not take its sheet", slot="slot of the sheet",
      revision="revision of the sheet", reason="why", code="refusal code")
_kind("start_sent", "host", "a start instant was sent and acknowledged or not",
      slot="slot of the sheet", start_host_s="the start on the host's clock, [low, best, high]",
      start_device="[lap, ms, us] on the device's clock", clock_id="clock of that instant",
      acknowledged="whether the device took it")
_kind("start_cancelled", "host", "not all devices took the start: cancelled everywhere",
      reason="why", missing="names of those that did not answer")
_kind("started_all", "host", "every device took the start; the run's clock begins",
      start_host_s="the start on the host's clock, [low, best, high]",
      start_utc="wall clock at the start")
_kind("clock_exchange", "host", "one question and answer about a device's clock",
      clock_id="clock that answered", sent_host_s="question left", received_host_s="answer came",
      device_received="[lap, ms, us] question came in", device_sent="[lap, ms, us] answer left",
      turn_us="microseconds between the two on the device",
      exchanges="several exchanges of one burst, each a list in the order of these fields")
_kind("word_sent", "host", "an on_word cue was released", word="number of the word",
      acknowledged="whether the device took it", cause="what released it")
_kind("link_lost", "host", "a device can no longer be reached", link="the link's URL",
      reason="why, where known")
_kind("link_back", "host", "a device can be reached again", link="the link's URL",
      away_s="seconds without it")
_kind("device_rebooted", "host", "a device came back with a new clock: it is silent",
      old_clock_id="clock before", new_clock_id="clock now")
_kind("sheet_reloaded", "host", "a further revision was swapped in during the run",
      slot="slot of the sheet", revision="revision now in force", digest="digest, hex",
      reason="why")
_kind("time_limit", "host", "the time limit fixed the verdict; overtime begins",
      limit_s="the limit", found="targets found by then", met="whether the standard was met")
_kind("silence_sent", "host", "silence was sent to every device", cause="who or what asked for it",
      reached="names of the devices it was handed to")
_kind("silent_confirmed", "host", "a device confirmed that its carrier is off",
      count="its silence count", cause="reply, journal, lease ran out")
_kind("not_confirmed_silent", "host", "a device may still send",
      place="where it lies", until_host_s="last instant at which it can still send",
      until_utc="the same on the wall clock", reason="why")
_kind("closed", "host", "the run ended", outcome="met, not_met, stopped, interrupted, void",
      reason="what ended it", found="targets found", targets="targets in play",
      standard="standard applied", time_limit_s="its time limit",
      summary="the summary as JSON")
_kind("recovered", "host", "a run left open by a crash was taken up again",
      action="what recovery did", last_event_id="last event found",
      silent="whether every device confirmed silence")
_kind("note", ("host", "person"), "text for the record", text="the text",
      author="who, as they call themselves")

_kind("stop", "person", "the searcher or the instructor ended the run",
      by="searcher or instructor", means="button, phone, keyboard, knock")
_kind("tick", "person", "an observer ticked a step", step="the step", target="target concerned",
      author="who", value="its value where it has one: done, missed, put right, not applicable",
      run_s="when, seconds since the start, where somebody said or tapped it",
      by="observer or searcher: the searcher's is a self-report",
      means="live, afterwards, recording")
_kind("caution_ticked", "person", "a caution was read and confirmed before a start",
      caution="which one", author="who")
_kind("correction", "person", "an earlier event is to be read otherwise; nothing is edited",
      event_id="logbook id of the event", device_key="[device id hex, journal id, seq] of it",
      verdict="no_strike, counts, was_target, at_time, as_recorded (takes back what was said "
      "of it before)", target="target meant",
      run_s="corrected time since the start", author="who", reason="why")
_kind("void", "person", "the run is not to count", reason="why", author="who")

_kind("placed", "person", "where a target lies, as measured", x_m="along the width, metres",
      y_m="along the height, metres", sigma_m="standard error of the place, metres",
      azimuth_deg="of its antenna, clockwise from the y axis", tilt_deg="above the horizontal",
      readings="the readings, each [kind, from, value_m]", author="who", field="name of the field")
_kind("depth", "person", "how deep a target lies, as probed, or read at a strike or in its hole",
      depth_m="from the snow surface, metres", means="probed, strike, hole", author="who",
      field="name of the field")
_kind("state", "person", "what became of a target",
      state="in place, dug out, put back, settled, frozen in", depth_m="where it was put back",
      author="who", field="name of the field")
_kind("snow", "person", "the snow over the whole field changed",
      change_m="metres; negative when it settled", cause="new snow, settling, drift",
      author="who", field="name of the field")
_kind("receive_range", "person", "how far a searcher hears a target, as walked",
      searcher="who", transceiver="which", ranges_m="each reading, metres",
      mean_m="their mean", sigma_m="their standard deviation", field="name of the field")
_kind("done", "person", "somebody said that the work is done: the ground clear, the pack dug out",
      by="searcher or instructor", means="button, phone, keyboard")
_kind("word_asked", "person", "the instructor asked for the second signal", author="who",
      means="button, phone, keyboard")
