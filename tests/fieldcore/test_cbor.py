"""The CBOR subset: every value has one encoding, everything else is refused."""

from typing import Any

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore import cbor

LIMIT = 2**32
LEAF = (
    st.integers(-LIMIT, LIMIT - 1)
    | st.integers(-300, 300)
    | st.binary(max_size=300)
    | st.text(max_size=80)
    | st.booleans()
    | st.none()
)


def nested(depth: int) -> st.SearchStrategy[Any]:
    return LEAF if depth == 0 else LEAF | st.lists(nested(depth - 1), max_size=5)


@given(nested(cbor.MAX_DEPTH))
def test_a_second_decoder_and_encoder_agree(value: Any) -> None:
    data = cbor.dumps(value)
    assert cbor2.loads(data) == value
    assert cbor2.dumps(value, canonical=True) == data
    assert cbor.loads(data) == value
    assert cbor.loads(memoryview(data)) == value


@given(st.binary(max_size=24))
def test_what_is_accepted_is_the_one_encoding_of_its_value(data: bytes) -> None:
    try:
        value = cbor.loads(data)
    except ValueError:
        return
    assert cbor.dumps(value) == data


@given(nested(2), st.data())
def test_no_proper_start_of_an_item_is_an_item(value: Any, data: st.DataObject) -> None:
    whole = cbor.dumps(value)
    cut = data.draw(st.integers(0, len(whole) - 1))
    with pytest.raises(ValueError, match=r"."):
        cbor.loads(whole[:cut])
    with pytest.raises(ValueError, match="after item"):
        cbor.loads(whole + b"\0")


@pytest.mark.parametrize(
    "not_shortest",
    ["1800", "1817", "190000", "1900ff", "1a0000ffff", "1b0000000000000001", "3800", "5803010203",
     "5900030102ff", "780161", "9801f6", "990001f6"],
)  # fmt: skip
def test_longer_heads_than_needed_are_refused(not_shortest: str) -> None:
    with pytest.raises(ValueError, match=r"shortest|subset"):
        cbor.loads(bytes.fromhex(not_shortest))


@pytest.mark.parametrize("text", ["62c080", "63eda080", "64f4908080", "64f5808080", "61ff", "61c3"])
def test_text_that_is_not_utf8_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"."):
        cbor.loads(bytes.fromhex(text))


@pytest.mark.parametrize("value", [LIMIT, -LIMIT - 1, 1.5, {}, {1}, [[[[[]]]]], "\ud800", [2.0]])
def test_values_outside_the_subset_are_not_written(value: Any) -> None:
    with pytest.raises(ValueError, match=r"."):
        cbor.dumps(value)


@pytest.mark.parametrize("edge", [23, 24, 0xFF, 0x100, 0xFFFF, 0x10000, LIMIT - 1])
def test_heads_change_length_where_they_must(edge: int) -> None:
    for value in (edge, -1 - edge):
        assert cbor.dumps(value) == cbor2.dumps(value, canonical=True)
        assert cbor.loads(cbor.dumps(value)) == value


def test_depth_is_bounded_when_reading() -> None:
    assert cbor.loads(b"\x81\x81\x81\x81\x01") == [[[[1]]]]
    with pytest.raises(ValueError, match="deep"):
        cbor.loads(b"\x81\x81\x81\x81\x80")


def test_a_count_larger_than_the_input_is_refused_before_any_work() -> None:
    with pytest.raises(ValueError, match="truncated"):
        cbor.loads(b"\x9a\xff\xff\xff\xff\x01")


def test_tuples_and_views_are_written_as_arrays_and_bytes() -> None:
    assert cbor.dumps((1, memoryview(b"ab"), bytearray(b"c"))) == b"\x83\x01\x42ab\x41c"
