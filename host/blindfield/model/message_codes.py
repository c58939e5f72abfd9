"""The numbered tables that messages and journal records refer to.

Numbers are 1, 2, ... in the order of a table and never change: new rows go to its end.
"""

from __future__ import annotations

REFUSALS: tuple[tuple[str, str], ...] = (
    ("unknown", "does not know this message"),
    ("malformed", "could not read this message"),
    ("no_key", "has no key: it never sends until one is installed"),
    ("bad_tag", "was given the wrong key, or the message was changed on the way"),
    ("stale", "saw this message before, or a later one"),
    ("no_opening", "has no sealed link (it was restarted, or somebody else opened one)"),
    ("latched", "was silenced; `blindfield rearm` when all are safe"),
    ("silence_count", "was silenced in the meantime; `blindfield rearm` when all are safe"),
    ("slot", "holds no such sheet"),
    ("digest", "holds a sheet that arrived damaged"),
    ("other_device", "was given a sheet made for another device"),
    ("keying", "was given pulse times outside what transceivers expect"),
    ("past", "was told to start at a time already past, or too far ahead"),
    ("too_long", "was told to send for longer than 20 minutes"),
    ("contradictory", "was given a sheet that contradicts itself"),
    ("journal_full", "has no room left to record a run: collect its events first"),
    ("busy", "is in a run"),
    ("battery", "has too little battery to start"),
    ("revision", "was given an old revision of the sheet"),
    ("value", "was given a value out of range"),
    ("run", "is not in that run"),
)
"""(name, what the device `device: ...` says on screen); codes are 1, 2, ... in this order."""

EVENTS: tuple[tuple[str, str], ...] = (
    ("boot", "power came, or the board restarted; a new clock begins"),
    ("strike", "payload: strength u8, manner u8 (1 sharp, 2 push), finding flags u8"),
    ("dug_out", "payload: angle turned u8, degrees"),
    ("knock", "the knock pattern was felt"),
    ("silenced", "payload: count u16, latched u8, cause u8"),
    ("rearmed", "payload: count u16, latched u8"),
    ("started", "payload: revision u8, elapsed_ms u32"),
    ("sends", "payload: cue u8"),
    ("rests", "payload: cue u8"),
    ("ended", "payload: reason u8"),
    ("gap", "payload: records not kept u32, for want of room"),
)
"""Device events, the kinds of journal records; numbers are 1, 2, ... in this order."""

ENDS: tuple[tuple[str, str], ...] = (
    ("sheet", "the sheet's own end"),
    ("cap", "20 minutes of sending"),
    ("lease", "the host was not heard for the lease"),
    ("told", "the host ended it"),
    ("silence", "silenced"),
    ("cancelled", "the start was cancelled"),
)
"""Reasons of an `ended` event; numbers are 1, 2, ... in this order."""

SILENCE_CAUSES: tuple[tuple[str, str], ...] = (
    ("frame", "the silence frame on a link"),
    ("air", "a silence advertisement"),
    ("knock", "the knock pattern on this device"),
    ("button", "the button"),
    ("break", "a break held on the shared bus"),
)
"""Causes of a `silenced` event; numbers are 1, 2, ... in this order."""

TRIGGERS: tuple[tuple[str, str], ...] = (
    ("at", "at a run time"),
    ("on_my_strike", "a delay after this device's first strike in the run"),
    ("on_my_dug_out", "a delay after this device was dug out in the run"),
    ("on_word", "on a word from the host; else at a run time, or else never"),
)
"""Triggers of cues; numbers are 1, 2, ... in this order."""
