"""Checksums, digests, comparison and the 30-bit tick circle."""

import hashlib
import zlib

from hypothesis import given
from hypothesis import strategies as st

from fieldcore import compat

TICK = st.integers(0, compat.TICKS_MASK)
HALF = 2**29


def test_crc32_gives_the_published_check_value() -> None:
    # CRC-32/ISO-HDLC, catalogue of parametrised CRC algorithms (G. Cook): check = cbf43926
    assert compat.crc32(b"123456789") == 0xCBF43926


@given(st.binary(), st.binary())
def test_crc32_goes_on_from_a_start_and_matches_zlib(a: bytes, b: bytes) -> None:
    assert compat.crc32(b, compat.crc32(a)) == zlib.crc32(a + b)


def test_sha256_gives_the_published_digest_of_abc() -> None:
    # FIPS 180-4 example, one block message
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert compat.sha256(b"abc").hex() == digest


@given(st.binary())
def test_sha256_takes_views(data: bytes) -> None:
    assert compat.sha256(memoryview(data)) == hashlib.sha256(data).digest()


@given(st.binary(max_size=20), st.binary(max_size=20))
def test_same_is_equality(a: bytes, b: bytes) -> None:
    assert compat.same(a, b) == (a == b)
    assert compat.same(a, bytes(a))


@given(st.binary(min_size=1, max_size=8), st.integers(0, 63))
def test_same_sees_one_bit(a: bytes, bit: int) -> None:
    b = bytearray(a)
    b[bit // 8 % len(b)] ^= 1 << bit % 8
    assert not compat.same(a, b)


@given(TICK, st.integers(-HALF, HALF - 1))
def test_a_difference_undoes_an_addition_across_the_wrap(a: int, d: int) -> None:
    later = compat.ticks_add(a, d)
    assert 0 <= later <= compat.TICKS_MASK
    assert compat.ticks_diff(later, a) == d


@given(TICK, st.integers(-(2**40), 2**40))
def test_addition_takes_any_step_modulo_the_circle(a: int, d: int) -> None:
    assert compat.ticks_add(a, d) == (a + d) % 2**30


def test_half_the_circle_is_the_most_negative_difference() -> None:
    assert compat.ticks_diff(0, HALF) == -HALF
    assert compat.ticks_diff(HALF, 0) == -HALF
    assert compat.ticks_diff(HALF - 1, 0) == HALF - 1
    assert compat.ticks_diff(1, compat.TICKS_MASK) == 2
