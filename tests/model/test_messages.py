"""One message table, and everything made from it."""

import re
from pathlib import Path

import pytest

from blindfield.model import generate, messages
from blindfield.model.messages import KINDS, MESSAGES, MessageSpec
from blindfield.model.settings import SETTINGS
from fieldcore import frame, message, sensor, wire

FIRMWARE = Path(__file__).resolve().parents[2] / "firmware"
CORE = sorted((FIRMWARE / "fieldcore").glob("*.py"))
BLOCKS = [path for path in CORE if generate.BLOCK_BEGIN in path.read_text(encoding="utf-8")]
TABLES = (
    messages.REFUSALS,
    messages.EVENTS,
    messages.ENDS,
    messages.SILENCE_CAUSES,
    messages.TRIGGERS,
)


def test_the_compact_table_is_the_generated_one() -> None:
    assert (FIRMWARE / "fieldcore" / "wire.py").read_text("utf-8") == generate.compact_table()


@pytest.mark.parametrize("path", BLOCKS, ids=lambda path: path.stem)
def test_every_block_of_numbers_is_the_generated_one(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert generate.with_block(text) == text


def test_the_tables_of_the_protocol_are_the_generated_ones() -> None:
    text = (FIRMWARE / "PROTOCOL.md").read_text(encoding="utf-8")
    assert generate.protocol_tables() in text
    assert generate.with_tables(text) == text


def test_numbers_of_the_table_stand_only_in_blocks() -> None:
    assert len(BLOCKS) >= 8
    known = set(re.findall(r"^(\w+) = const", generate.compact_table(), re.MULTILINE))
    for path in CORE:
        before, _, rest = path.read_text(encoding="utf-8").partition(generate.BLOCK_BEGIN)
        outside = before + rest.partition(generate.BLOCK_END)[2]
        if path.name != "wire.py":
            assert not known & set(re.findall(r"^_(\w+) = const", outside, re.MULTILINE)), path


def test_no_module_of_the_core_imports_the_names() -> None:
    """They would take 5 KB of a board's heap."""
    for path in CORE:
        assert not re.search(r"import .*\bwire\b|fieldcore\.wire import", path.read_text("utf-8"))


def test_a_changed_number_is_put_right() -> None:
    path = next(path for path in BLOCKS if path.stem == "run")
    text = path.read_text(encoding="utf-8")
    wrong = text.replace("_RUN_CAP_MS = const(1200000)", "_RUN_CAP_MS = const(1200001)")
    assert wrong != text
    assert generate.with_block(wrong) == text


def test_a_module_without_a_block_is_left_alone() -> None:
    assert generate.with_block("_HELLO = 3\n") == "_HELLO = 3\n"


def test_ids_and_names_are_unique_and_fit() -> None:
    assert len({spec.id for spec in MESSAGES}) == len(MESSAGES)
    assert len({spec.name for spec in MESSAGES}) == len(MESSAGES)
    assert all(0 < spec.id < 128 for spec in MESSAGES)  # the high bit marks an id in the shapes
    assert len(messages.BY_ID) == len(messages.BY_NAME) == len(MESSAGES)


@pytest.mark.parametrize("spec", MESSAGES, ids=lambda spec: spec.name)
def test_a_message_is_told_in_full(spec: MessageSpec) -> None:
    assert spec.sender in ("host", "device", "any")
    assert spec.travels in ("plain", "sealed")
    assert spec.doc.endswith((".", "?"))
    assert spec.since <= messages.MINOR
    assert all(field.kind in KINDS for field in spec.fields)
    assert len({field.name for field in spec.fields}) == len(spec.fields)
    assert getattr(wire, spec.name.upper()) == spec.id


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table[0][0])
def test_names_of_a_table_are_unique(table: tuple[tuple[str, str], ...]) -> None:
    assert len({name for name, _ in table}) == len(table)


def test_numbers_count_from_one_in_the_order_of_their_table() -> None:
    assert [getattr(wire, f"NO_{name.upper()}") for name, _ in messages.REFUSALS] == list(
        range(1, len(messages.REFUSALS) + 1)
    )
    assert (wire.EVENT_BOOT, wire.END_SHEET, wire.BY_FRAME, wire.CUE_AT) == (1, 1, 1, 1)
    assert (wire.EVENT_GAP, wire.END_CANCELLED, wire.BY_BUTTON, wire.CUE_ON_WORD) == (11, 6, 4, 4)


def test_letters_of_kinds_are_unique() -> None:
    letters = [letter for letter, _ in KINDS.values()]
    assert len(set(letters)) == len(letters)
    assert all(letter.isascii() and letter != "." for letter in letters)


def test_the_device_keeps_the_settings_of_the_table() -> None:
    assert sensor.defaults() == [spec.default for spec in SETTINGS]
    for place, spec in enumerate(SETTINGS):
        assert spec.least <= spec.default <= spec.most
        for value, good in ((spec.least, True), (spec.least - 1, False), (spec.most + 1, False)):
            changed = sensor.defaults()
            changed[place] = value
            if good:
                sensor.check(changed)
            else:
                with pytest.raises(ValueError, match=f"^{place}$"):
                    sensor.check(changed)
    assert len({spec.name for spec in SETTINGS}) == len(SETTINGS)


def test_the_longest_messages_fit_a_frame() -> None:
    records = message.pack(wire.RECORDS, 0xFFFFFFFF, 0xFFFFFFFF, bytes(6 * 32))
    reply = message.pack(wire.REPLY, 0xFFFFFFFF, records, bytes(8))
    assert len(reply) <= frame.MAX_BODY
    load = message.pack(wire.LOAD, 7, 192, bytes(96))
    assert len(message.pack(wire.REQUEST, 0xFFFFFFFF, load, bytes(8))) <= frame.MAX_BODY
    most = [longest(field.kind) for field in messages.BY_NAME["hello_is"].fields]
    assert len(message.pack(wire.HELLO_IS, *most)) <= frame.MAX_BODY


def longest(kind: str) -> object:
    return {"u8": 255, "bytes8": bytes(8), "bytes12": bytes(12), "text": "x" * 32}[kind]
