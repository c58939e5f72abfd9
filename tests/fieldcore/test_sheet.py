"""What a sheet may say, at each limit; and that all sheets have one size."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore import cbor, sheet, wire
from fieldcore.message import Refusal
from support.device_bench import ID, sheet_bytes

AT, STRIKE, DUG_OUT, ON_WORD = (
    wire.CUE_AT,
    wire.CUE_ON_MY_STRIKE,
    wire.CUE_ON_MY_DUG_OUT,
    wire.CUE_ON_WORD,
)
CAP = wire.RUN_CAP_MS


def refusal(data: bytes, device_id: bytes = ID) -> int:
    """The code by which these bytes are refused; 0 when they may run."""
    try:
        sheet.read(data, device_id)
    except Refusal as found:
        return found.code
    return 0


@pytest.mark.parametrize(
    ("period_us", "on_us", "phase_us", "good"),
    [
        (1_000_000, 82_000, 0, True),
        (700_000, 75_000, 0, True),
        (699_999, 75_000, 0, False),
        (1_300_000, 100_000, 0, True),
        (1_300_001, 100_000, 0, False),
        (1_000_000, 74_999, 0, False),
        (1_000_000, 100_001, 0, False),
        (1_000_000, 82_000, 999_999, True),
        (1_000_000, 82_000, 1_000_000, False),
        (1_000_000, 82_000, -1, False),
        (0, 0, 0, False),
    ],
)
def test_keying_stays_within_en_300_718(
    period_us: int, on_us: int, phase_us: int, good: bool
) -> None:
    data = sheet_bytes(period_us=period_us, on_us=on_us, phase_us=phase_us)
    assert refusal(data) == (0 if good else wire.NO_KEYING)


@given(
    st.integers(wire.PERIOD_MIN_US, wire.PERIOD_MAX_US), st.integers(wire.ON_MIN_US, wire.ON_MAX_US)
)
def test_every_legal_train_is_off_for_400_ms(period_us: int, on_us: int) -> None:
    sheet.check_keying(period_us, on_us, 0)
    assert period_us - on_us >= wire.OFF_MIN_US >= 400_000


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"end_ms": CAP}, 0),
        ({"end_ms": CAP + 1}, wire.NO_TOO_LONG),
        ({"end_ms": 0}, wire.NO_TOO_LONG),
        ({"lease_ms": wire.LEASE_MIN_MS}, 0),
        ({"lease_ms": wire.LEASE_MIN_MS - 1}, wire.NO_VALUE),
        ({"lease_ms": wire.LEASE_MAX_MS + 1}, wire.NO_VALUE),
        ({"revision": 0}, wire.NO_REVISION),
        ({"revision": 255}, 0),
        ({"revision": 256}, wire.NO_REVISION),
        ({"device_id": b"target-2"}, wire.NO_OTHER_DEVICE),
        ({"device_id": b"short"}, wire.NO_MALFORMED),
        ({"run_id": b"longer than 8"}, wire.NO_MALFORMED),
        ({"period_us": True}, wire.NO_MALFORMED),
        ({"end_ms": 2 * CAP + 1}, wire.NO_MALFORMED),
        ({"cues": [[AT, 0, 0, True]] * 8}, 0),
        ({"cues": [[AT, 0, 0, True]] * 9}, wire.NO_MALFORMED),
        ({"cues": [[AT, 0, 0, 1]]}, wire.NO_MALFORMED),
        ({"cues": [[AT, 0, 0]]}, wire.NO_MALFORMED),
        ({"cues": [7]}, wire.NO_MALFORMED),
        ({"cues": 7}, wire.NO_MALFORMED),
        ({"cues": [[0, 0, 0, True]]}, wire.NO_MALFORMED),
        ({"cues": [[5, 0, 0, True]]}, wire.NO_MALFORMED),
        ({"cues": [[AT, CAP, 0, True]]}, 0),
        ({"cues": [[AT, CAP + 1, 0, True]]}, wire.NO_CONTRADICTORY),
        ({"cues": [[AT, -1, 0, True]]}, wire.NO_CONTRADICTORY),
        ({"cues": [[STRIKE, -1, 0, True]]}, wire.NO_CONTRADICTORY),
        ({"cues": [[DUG_OUT, 0, 3, True]]}, wire.NO_CONTRADICTORY),
        ({"cues": [[AT, 5, 0, True], [AT, 5, 0, False]]}, wire.NO_CONTRADICTORY),
        ({"cues": [[AT, 5, 0, True], [AT, 6, 0, False]]}, 0),
        ({"cues": [[ON_WORD, 5, 1, True], [ON_WORD, 5, 2, False]]}, 0),
        ({"cues": [[ON_WORD, sheet.ELSE_NEVER, 255, True]]}, 0),
        ({"cues": [[ON_WORD, 5, 256, True]]}, wire.NO_CONTRADICTORY),
    ],
    ids=str,
)
def test_a_sheet_runs_or_is_refused_with_the_reason(fields: dict[str, Any], code: int) -> None:
    assert refusal(sheet_bytes(**fields)) == code


def test_a_sheet_gives_back_its_fields() -> None:
    cues = [[AT, 0, 0, True], [ON_WORD, 90_000, 3, False]]
    read = sheet.read(sheet_bytes(revision=3, phase_us=17, cues=cues), ID)
    assert (read.revision, read.train(), read.cues) == (3, (1_000_000, 82_000, 17), cues)


CUES = st.lists(
    st.tuples(st.integers(1, 4), st.integers(0, CAP), st.integers(0, 255), st.booleans()).map(list),
    max_size=8,
)


@given(CUES, st.integers(1, 255), st.integers(0, 2**31))
def test_size_tells_nothing(cues: list[Any], revision: int, phase_us: int) -> None:
    data = sheet_bytes(cues=cues, revision=revision, phase_us=phase_us)
    assert len(data) == wire.SHEET_BYTES
    assert cbor.loads(data)[8] == cues


def test_more_cues_than_fit_are_not_written() -> None:
    with pytest.raises(ValueError, match="too long"):
        sheet_bytes(cues=[[ON_WORD, CAP, 255, True]] * 16)


@given(st.binary(max_size=200))
def test_noise_is_malformed(data: bytes) -> None:
    assert refusal(data) == wire.NO_MALFORMED


@given(st.integers(0, wire.SHEET_BYTES - 1), st.integers(1, 255))
def test_a_changed_byte_changes_the_digest(place: int, flip: int) -> None:
    data = sheet_bytes()
    changed = bytearray(data)
    changed[place] ^= flip
    assert sheet.digest(bytes(changed)) != sheet.digest(data)
    assert len(sheet.digest(data)) == 8
