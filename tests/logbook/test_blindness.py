"""Nothing in the files of an open run tells its problem; the close proves that it was fixed."""

from __future__ import annotations

import dataclasses
import hashlib
import hmac
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import update

from blindfield.logbook.book import Logbook
from blindfield.logbook.commitment import commit
from blindfield.logbook.schema import runs
from blindfield.logbook.sealing import Sealer, derive
from blindfield.model.errors import LogbookError
from blindfield.model.events import DeviceKey
from support.logbook_kit import (
    DEVICE,
    EPOCH,
    KEY,
    OTHER_KEY,
    SCENARIO,
    UTC,
    drawn,
    note,
    run_id,
    strike,
    summary,
    with_open_run,
)

TELLING = [
    DEVICE,
    EPOCH,
    b"TARGET",
    b"strike",
    b"run_drawn",
    b"two_signals",
    b"anvil",
    b"sharp",
    b"sends_at_s",
    b"raw journal record",
    b"person",
]


def _on_disk(path: Path) -> bytes:
    """Every byte of the database and its companions, and the text of a dump."""
    files = b"".join(one.read_bytes() for one in sorted(path.parent.iterdir()))
    connection = sqlite3.connect(path)
    rows = [line for line in connection.iterdump() if line.startswith("INSERT")]
    connection.close()
    return files + "\n".join(rows).encode()


def _told(path: Path) -> list[bytes]:
    disk = _on_disk(path)
    upper = disk.upper()  # hex in either case
    return [one for one in TELLING if one in disk or one.hex().upper().encode() in upper]


def test_an_open_run_tells_nothing_on_disk_and_the_close_tells_all(
    book: Logbook, path: Path
) -> None:
    run = with_open_run(book)
    book.append_many([strike(run, 1), note(run, "anvil"), strike(None, 2)])
    assert (path.parent / (path.name + "-wal")).stat().st_size > 0
    assert _told(path) == []
    book.close_run(run, summary(run))
    assert _told(path) == TELLING


def test_rows_of_an_open_run_look_alike(book: Logbook, path: Path) -> None:
    run = with_open_run(book)
    book.append_many([strike(run, 1), note(run, "x"), note(None, "y" * 300), strike(None, 2)])
    other = sqlite3.connect(path)
    names = [one[1] for one in other.execute("PRAGMA table_info(events)")]
    rows = [dict(zip(names, row, strict=True)) for row in other.execute("SELECT * FROM events")]
    other.close()
    filled = [{name for name, value in row.items() if value is not None} for row in rows]
    assert all(one - {"run_id"} == {"id", "seal_hash", "sealed"} for one in filled)
    sizes = [len(row["sealed"]) - 12 - 16 for row in rows]
    assert sizes == [16 * 1024, *[1024] * 4]
    assert {len(row["seal_hash"]) for row in rows} == {32}


def test_the_row_of_the_problem_has_one_size_whatever_it_holds(book: Logbook, path: Path) -> None:
    for number, cues in enumerate((0, 3, 30)):
        scenario = {"kind": "x" * cues, "targets": [{"name": "anvil", "cues": ["at"] * 9 * cues}]}
        book.append(drawn(run_id(number), scenario))
    other = sqlite3.connect(path)
    sizes = {size for (size,) in other.execute("SELECT length(sealed) FROM events")}
    other.close()
    assert len(sizes) == 1


def test_sizes_fall_into_few_classes_and_every_length_survives() -> None:
    sealer = Sealer(KEY)
    texts = [bytes(length) for length in (0, 1, 1019, 1020, 1021, 4092, 4093, 70_000)]
    sealed = [sealer.seal(b"r" * 8, b"h", text) for text in texts]
    assert [sealer.unseal(b"r" * 8, b"h", one) for one in sealed] == texts
    assert [len(one) - 28 for one in sealed] == [1024] * 4 + [4096] * 2 + [16384, 262144]
    assert sealer.seal(b"r" * 8, b"h", b"") != sealed[0]  # a fresh nonce each time


def test_a_blob_opens_only_in_its_row_of_its_run_with_its_key() -> None:
    sealed = Sealer(KEY).seal(b"r" * 8, b"h", b"text")
    for sealer, run, row_hash, blob in (
        (Sealer(OTHER_KEY), b"r" * 8, b"h", sealed),
        (Sealer(KEY), b"s" * 8, b"h", sealed),
        (Sealer(KEY), None, b"h", sealed),
        (Sealer(KEY), b"r" * 8, b"i", sealed),
        (Sealer(KEY), b"r" * 8, b"h", sealed[:-1]),
        (Sealer(KEY), b"r" * 8, b"h", b""),
    ):
        with pytest.raises(LogbookError, match="cannot be opened"):
            sealer.unseal(run, row_hash, blob)


def _hkdf(key: bytes, salt: bytes, info: bytes, length: int) -> bytes:
    """RFC 5869 sections 2.2 and 2.3, written out."""
    extracted = hmac.digest(salt or bytes(32), key, "sha256")
    made, block = b"", b""
    while len(made) < length:
        block = hmac.digest(extracted, block + info + bytes([len(made) // 32 + 1]), "sha256")
        made += block
    return made[:length]


def test_keys_are_derived_by_hkdf() -> None:
    # RFC 5869 appendix A.1 proves the second implementation that ours is compared with.
    okm = _hkdf(b"\x0b" * 22, bytes(range(13)), bytes(range(0xF0, 0xFA)), 42)
    assert okm.hex() == (
        "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865"
    )
    expected = _hkdf(KEY, b"run", b"blindfield logbook rows", 32)
    assert derive(KEY, salt=b"run", purpose="rows") == expected


def test_the_hash_of_a_record_needs_the_key() -> None:
    key = DeviceKey(DEVICE, 1, 2)
    assert Sealer(KEY).row_hash(key) == Sealer(KEY).row_hash(key)
    assert Sealer(KEY).row_hash(key) != Sealer(OTHER_KEY).row_hash(key)
    assert Sealer(KEY).row_hash(key) != Sealer(KEY).row_hash(DeviceKey(DEVICE, 12, 2))
    assert Sealer(KEY).row_hash(None) != Sealer(KEY).row_hash(None)
    with pytest.raises(ValueError, match="32 bytes"):
        Sealer(b"short")


def test_without_the_key_open_runs_are_listed_and_recovery_may_speak(
    book: Logbook, path: Path
) -> None:
    run = with_open_run(book)
    with Logbook.open(path, field_key=None) as blind:
        assert [record.run_id for record in blind.open_runs()] == [run]
        blind.append(note(None, "silence sent without a key"))
        for refused in (
            lambda: blind.events_of(run),
            lambda: blind.append(note(run, "x")),
            lambda: blind.append(strike(None, 1)),
            lambda: blind.close_run(run, summary(run)),
        ):
            with pytest.raises(LogbookError, match=r"without the field key|key is missing"):
                refused()
        with pytest.raises(LogbookError, match="cannot be drawn"):
            blind.append(drawn(b"another1"))
    book.close_run(run, summary(run))
    with Logbook.open(path, field_key=None) as blind:
        assert len(blind.events_of(run)) == 1


def test_another_key_is_told_from_damage(book: Logbook, path: Path) -> None:
    run = with_open_run(book)
    with Logbook.open(path, field_key=OTHER_KEY) as other:
        with pytest.raises(LogbookError, match="made with another field key"):
            other.close_run(run, summary(run))
        with pytest.raises(LogbookError, match="cannot be opened"):
            other.events_of(run)


def test_a_run_whose_key_is_lost_can_be_ended_and_read_when_it_turns_up(
    book: Logbook, path: Path
) -> None:
    run = with_open_run(book)
    book.append(strike(run, 1))
    with Logbook.open(path, field_key=None) as blind:
        blind.abandon_run(run, ended_utc=UTC)
        blind.abandon_run(run, ended_utc=UTC)
        assert blind.open_runs() == []
        record = blind.find_run(None)
        assert record.summary is not None
        assert (record.summary.outcome, record.summary.flags) == ("interrupted", ("not_revealed",))
    assert book.events_of(run)[1] == strike(run, 1)
    assert book.check_commitment(run)


def test_with_two_open_runs_what_belongs_to_none_stays_sealed_till_the_last_close(
    book: Logbook, path: Path
) -> None:
    first, second = with_open_run(book, 1), with_open_run(book, 2)
    book.append(note(None, "outside any run"))
    book.close_run(first, summary(first))
    assert b"outside any run" not in _on_disk(path)
    book.close_run(second, summary(second))
    assert b"outside any run" in _on_disk(path)


def test_the_commitment_is_to_salt_and_scenario() -> None:
    salt = bytes(32)
    text = b'{"a":[1,null],"b":"\\u00e9"}'
    expected = hashlib.sha256(salt + text).hexdigest()
    assert commit({"b": "é", "a": [1, None]}, salt) == expected
    with pytest.raises(ValueError, match="salt"):
        commit({}, b"short")


def test_the_commitment_is_checked_after_the_close(book: Logbook) -> None:
    run = with_open_run(book)
    with pytest.raises(LogbookError, match="not been revealed"):
        book.check_commitment(run)
    book.close_run(run, summary(run))
    assert book.check_commitment(run)
    with book.database.writing() as connection:
        connection.execute(update(runs).values(commitment=commit({"other": 1}, bytes(32))))
    assert not book.check_commitment(run)


def test_a_false_commitment_is_not_recorded(book: Logbook) -> None:
    good = drawn(b"run12345")
    other = {**good.data, "scenario": {**SCENARIO, "kind": "other"}}
    with pytest.raises(ValueError, match="commitment"):
        book.append(dataclasses.replace(good, data=other))
    with pytest.raises(ValueError, match=r"lacks \['commitment'"):
        book.append(dataclasses.replace(good, data={"seed": 1}))
    assert book.runs() == []
