"""Tags: HMAC-SHA-256 as another implementation computes it."""

import hashlib
import hmac

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore.seal import Key


@given(st.binary(max_size=150), st.binary(max_size=300), st.integers(1, 32))
def test_tags_agree_with_another_implementation(secret: bytes, data: bytes, n: int) -> None:
    whole = hmac.new(secret, data, hashlib.sha256).digest()
    assert Key(secret).tag(data, n) == whole[:n]
    assert Key(secret).tag(memoryview(data), 32) == whole


@pytest.mark.parametrize("size", [0, 63, 64, 65])
def test_keys_about_one_block_long_agree_too(size: int) -> None:
    secret = bytes(range(1, size + 1))
    whole = hmac.new(secret, b"data", hashlib.sha256).digest()
    assert Key(secret).tag(b"data", 32) == whole


def test_a_tag_is_eight_bytes_unless_asked() -> None:
    assert len(Key(bytes(32)).tag(b"frame")) == 8


def test_a_key_is_used_many_times() -> None:
    key = Key(bytes(range(32)))
    assert key.tag(b"one") == key.tag(b"one") != key.tag(b"two")
