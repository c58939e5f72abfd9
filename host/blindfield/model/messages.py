"""The message table: what may travel between host and devices, in one place.

Encoder, decoder, `firmware/PROTOCOL.md`, the console and the device's compact table
(`fieldcore/wire.py`) are made from it by `python -m blindfield.model.generate`; a test fails
when they differ. Ids are u8 and never reused. Fields are positional; a later minor version may
only append fields, which an older reader leaves unread.
"""

from __future__ import annotations

from dataclasses import dataclass

from blindfield.model.message_codes import ENDS as ENDS
from blindfield.model.message_codes import EVENTS as EVENTS
from blindfield.model.message_codes import REFUSALS as REFUSALS
from blindfield.model.message_codes import SILENCE_CAUSES as SILENCE_CAUSES
from blindfield.model.message_codes import TRIGGERS as TRIGGERS

MAJOR = 1
MINOR = 0

SHEET_BYTES = 192
"""Every cue sheet is padded to this size, so that size tells nothing about its content."""

MAX_CUES = 8
MAX_SLOTS = 8
RUN_CAP_MS = 20 * 60 * 1000
"""A sheet sends for at most this long; only a revision asked for by a person begins it anew."""

PERIOD_US = (700_000, 1_300_000)  # EN 300 718 [S]: 1000 +- 300 ms
ON_US = (75_000, 100_000)  # EN 300 718 [S]: on >= 70 ms; EN 282 [S]: > 70 ms; upper bound ours
OFF_MIN_US = 400_000  # EN 300 718 [S]
LEASE_MS = (5_000, RUN_CAP_MS)


@dataclass(frozen=True)
class FieldSpec:
    """One positional field. `kind` is a key of `KINDS`; `unit` is SI or empty."""

    name: str
    kind: str
    unit: str = ""
    doc: str = ""


@dataclass(frozen=True)
class MessageSpec:
    """One message. `sender` is "host", "device" or "any"; `travels` is "plain" or "sealed"."""

    id: int
    name: str
    sender: str
    travels: str
    doc: str
    fields: tuple[FieldSpec, ...] = ()
    since: int = 0


KINDS: dict[str, tuple[str, str]] = {
    "u8": ("B", "integer 0-255"),
    "u16": ("H", "integer 0-65535"),
    "u30": ("M", "integer 0-1073741823"),
    "u32": ("L", "integer 0-4294967295"),
    "i32": ("i", "integer -2147483648-2147483647"),
    "bool": ("?", "true or false"),
    "bytes8": ("8", "8 bytes"),
    "bytes12": ("C", "12 bytes"),
    "text": ("s", "text, at most 32 bytes"),
    "blob": ("x", "bytes, as many as the frame holds"),
}
"""kind -> (letter in the device's compact table, meaning)."""


def _f(name: str, kind: str, unit: str = "", doc: str = "") -> FieldSpec:
    return FieldSpec(name, kind, unit, doc)


INSTANT = (
    _f("lap", "u8", "", "wraps of ms since boot"),
    _f("ms", "u30", "ms", "device clock"),
    _f("us", "u16", "us", "device clock, 0-999"),
)
SILENCE_COUNT = _f("silence_count", "u16", "", "the count the host last saw; another: refused")

MESSAGES: tuple[MessageSpec, ...] = (
    MessageSpec(
        1,
        "hello",
        "host",
        "plain",
        "Who are you? Also makes a fresh device nonce, pending until an open uses it.",
        (_f("major", "u8"), _f("minor", "u8")),
    ),
    MessageSpec(
        2,
        "hello_is",
        "device",
        "plain",
        "The device describes itself.",
        (
            _f("major", "u8"),
            _f("minor", "u8"),
            _f("device_id", "bytes8"),
            _f("role", "u8", "", "0 target, 1 post"),
            _f("board", "text"),
            _f("build", "text"),
            _f("settings_digest", "bytes8"),
            _f("device_nonce", "bytes12", "", "clock_id (4, little-endian), then 8 random"),
        ),
    ),
    MessageSpec(
        3,
        "open",
        "host",
        "plain",
        "Begin a sealed link. The tag is made with the field key.",
        (_f("host_nonce", "bytes12"), _f("tag", "bytes8")),
    ),
    MessageSpec(
        4,
        "opened",
        "device",
        "plain",
        "The sealed link stands. The tag is made with the new link key.",
        (_f("tag", "bytes8"),),
    ),
    MessageSpec(
        5, "silence", "any", "plain", "Stop every carrier now, and latch. Needs no key. No answer."
    ),
    MessageSpec(
        6,
        "refused",
        "device",
        "plain",
        "No, and why. Inside a reply it is sealed like any answer.",
        (_f("code", "u8"), _f("about", "u8", "", "id of the message refused")),
    ),
    MessageSpec(
        7,
        "have_data",
        "device",
        "plain",
        "A hint that the journal holds something new; may be lost without harm.",
    ),
    MessageSpec(
        8,
        "request",
        "host",
        "plain",
        "The envelope of a sealed request.",
        (_f("counter", "u32"), _f("body", "blob"), _f("tag", "bytes8")),
    ),
    MessageSpec(
        9,
        "reply",
        "device",
        "plain",
        "The envelope of a sealed reply; counter is the request's.",
        (_f("counter", "u32"), _f("body", "blob"), _f("tag", "bytes8")),
    ),
    MessageSpec(
        10,
        "poll",
        "host",
        "plain",
        "Shared bus: it is your turn. Answered by token, always of the same size.",
    ),
    MessageSpec(
        11,
        "token",
        "device",
        "plain",
        "Shared bus: the answer to poll and to seat.",
        (
            _f("address", "u8", "", "of who answers"),
            _f("state", "u8", "", "0 nothing, 1 has data, 2 needs an opening"),
            _f("mark", "u8", "", "32 + last_seq mod 192: another one means a new record"),
        ),
    ),
    MessageSpec(
        12,
        "find",
        "host",
        "plain",
        "Shared bus, to all: who begins with these bits and has no seat in this search?",
        (
            _f("search", "u16", "", "number of the search, drawn by the host"),
            _f("bits", "u8", "bits", "that count, from the first byte's highest"),
            _f("prefix", "bytes8"),
        ),
    ),
    MessageSpec(
        13,
        "here",
        "device",
        "plain",
        "Shared bus: the answer to find. Several at once garble each other.",
        (
            _f("device_id", "bytes8"),
            _f("salt", "u16", "", "random, so that two devices with one id differ"),
        ),
    ),
    MessageSpec(
        14,
        "seat",
        "host",
        "plain",
        "Shared bus, to all: this device has this address now (0: none), and nobody else has it.",
        (_f("device_id", "bytes8"), _f("address", "u8"), _f("search", "u16")),
    ),
    MessageSpec(16, "status", "host", "sealed", "How are you?"),
    MessageSpec(
        17,
        "status_is",
        "device",
        "sealed",
        "State of the device.",
        (
            _f("clock_id", "u32"),
            *INSTANT,
            _f("battery_mv", "u16", "mV"),
            SILENCE_COUNT,
            _f("latched", "bool", "", "silenced until re-armed"),
            _f("state", "u8", "", "0 idle, 1 start set, 2 running"),
            _f("slot", "u8", "", "the sheet set or running; 255 none"),
            _f("revision", "u8"),
            _f("may_send", "bool", "", "a carrier may come from it before live_left_ms is over"),
            _f("live_left_ms", "u32", "ms"),
            _f("journal_id", "u32"),
            _f("last_seq", "u32"),
            _f("acked_seq", "u32"),
            _f("journal_free", "u16", "records"),
            _f("refusals", "u16", "", "counted since boot"),
        ),
    ),
    MessageSpec(18, "clock", "host", "sealed", "What time is it? Stamped at arrival."),
    MessageSpec(
        19, "clock_is", "device", "sealed", "The stamp.", (_f("clock_id", "u32"), *INSTANT)
    ),
    MessageSpec(
        20,
        "load",
        "host",
        "sealed",
        "A part of a cue sheet. Offset 0 empties the slot first.",
        (_f("slot", "u8"), _f("offset", "u16", "bytes"), _f("part", "blob")),
    ),
    MessageSpec(
        21,
        "commit",
        "host",
        "sealed",
        "The sheet is whole: check it. Answered by committed.",
        (_f("slot", "u8"), _f("digest", "bytes8"), SILENCE_COUNT),
    ),
    MessageSpec(
        22,
        "committed",
        "device",
        "sealed",
        "Digest of the stored bytes, read back.",
        (_f("slot", "u8"), _f("digest", "bytes8")),
    ),
    MessageSpec(
        23,
        "start",
        "host",
        "sealed",
        "Run this sheet from this instant of the device's clock.",
        (
            _f("slot", "u8"),
            *INSTANT,
            _f("elapsed_ms", "u32", "ms", "run time at that instant; not 0 after a reboot"),
            SILENCE_COUNT,
        ),
    ),
    MessageSpec(
        24, "cancel", "host", "sealed", "Forget a start that has not come.", (_f("slot", "u8"),)
    ),
    MessageSpec(25, "end", "host", "sealed", "End the run of this sheet.", (_f("slot", "u8"),)),
    MessageSpec(
        26,
        "word",
        "host",
        "sealed",
        "The word that on_word cues wait for.",
        (_f("run_id", "bytes8"), _f("word", "u8"), SILENCE_COUNT),
    ),
    MessageSpec(27, "clear", "host", "sealed", "Empty a slot.", (_f("slot", "u8"),)),
    MessageSpec(
        28,
        "fetch",
        "host",
        "sealed",
        "Records up to acked_seq are on disk here; send what follows.",
        (_f("journal_id", "u32"), _f("acked_seq", "u32")),
    ),
    MessageSpec(
        29,
        "records",
        "device",
        "sealed",
        "Whole journal records of 32 bytes, oldest first.",
        (_f("journal_id", "u32"), _f("last_seq", "u32"), _f("records", "blob")),
    ),
    MessageSpec(
        30,
        "rearm",
        "host",
        "sealed",
        "Lift the latch of silence. Asked for by a person, never part of a run.",
        (SILENCE_COUNT,),
    ),
    MessageSpec(31, "settings", "host", "sealed", "What are your settings?"),
    MessageSpec(
        32,
        "settings_are",
        "device",
        "sealed",
        "Settings in the order of the settings table, i32 little-endian each.",
        (_f("values", "blob"),),
    ),
    MessageSpec(
        33,
        "set_setting",
        "host",
        "sealed",
        "Change one setting; refused during a run.",
        (_f("index", "u8"), _f("value", "i32")),
    ),
    MessageSpec(
        34,
        "tidy",
        "host",
        "sealed",
        "Erase journal pages that the host has on disk; refused during a run.",
    ),
    MessageSpec(
        35,
        "revise",
        "host",
        "sealed",
        "Go on with the next revision of the running sheet, swapped at once.",
        (
            _f("slot", "u8"),
            _f(
                "renew",
                "bool",
                "",
                "asked for by a person: its end counts from now, 20 min at most",
            ),
            SILENCE_COUNT,
        ),
    ),
    MessageSpec(
        36,
        "sound",
        "host",
        "sealed",
        "Horn and light pattern of the post at an instant (now, if it is past).",
        (_f("pattern", "u8"), *INSTANT),
    ),
    MessageSpec(63, "done", "device", "sealed", "Done."),
)

BY_ID = {spec.id: spec for spec in MESSAGES}
BY_NAME = {spec.name: spec for spec in MESSAGES}
