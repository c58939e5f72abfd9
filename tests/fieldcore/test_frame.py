"""Frames: found in any noise, never accepted damaged."""

import cobs.cobs
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldcore import frame

BODY = st.binary(max_size=frame.MAX_BODY)
ADDRESS = st.integers(0, 255)
# Noise that ends where a frame may begin; noise that does not costs the frame after it.
NOISE = st.binary(max_size=40).map(lambda junk: junk + b"\0") | st.just(b"")
SAMPLES = [(0, b""), (1, b"\x81\x01"), (255, bytes(20)), (17, bytes(range(245)))]


def read(reader: frame.Reader, data: bytes, step: int = 10**6) -> list[tuple[int, bytes]]:
    found = []
    for start in range(0, len(data), step):
        reader.feed(data[start : start + step])
        while (item := reader.next()) is not None:
            found.append(item)
    return found


@given(st.binary(max_size=1200))
def test_stuffing_agrees_with_another_implementation(data: bytes) -> None:
    stuffed = frame.cobs_encode(data)
    assert stuffed == cobs.cobs.encode(data)
    assert b"\0" not in stuffed
    assert frame.cobs_decode(stuffed) == data


@given(st.binary(max_size=300))
def test_unstuffing_accepts_what_another_implementation_accepts(data: bytes) -> None:
    try:
        expected = cobs.cobs.decode(data)
    except cobs.cobs.DecodeError:
        with pytest.raises(ValueError, match=r"."):
            frame.cobs_decode(data)
    else:
        assert frame.cobs_decode(data) == expected


@given(ADDRESS, BODY)
def test_a_frame_has_one_zero_at_its_end_and_reads_back(address: int, body: bytes) -> None:
    data = frame.encode(address, body)
    assert data.index(0) == len(data) - 1 <= frame.MAX_STUFFED
    assert read(frame.Reader(), data) == [(address, body)]


def test_the_crc_is_little_endian_over_address_and_body() -> None:
    import zlib

    plain = frame.cobs_decode(frame.encode(5, b"body")[:-1])
    assert plain == b"\x05body" + zlib.crc32(b"\x05body").to_bytes(4, "little")


@pytest.mark.parametrize(("address", "size"), [(-1, 0), (256, 0), (0, frame.MAX_BODY + 1)])
def test_what_no_frame_can_hold_is_refused(address: int, size: int) -> None:
    with pytest.raises(ValueError, match="range"):
        frame.encode(address, bytes(size))


@pytest.mark.parametrize(("address", "body"), SAMPLES)
def test_every_single_bit_error_is_caught(address: int, body: bytes) -> None:
    good = frame.encode(address, body)
    after = frame.encode(9, b"next")
    for bit in range(8 * (len(good) - 1)):
        damaged = bytearray(good)
        damaged[bit // 8] ^= 1 << bit % 8
        reader = frame.Reader()
        assert read(reader, bytes(damaged) + after) == [(9, b"next")]
        assert reader.bad >= 1


@given(st.lists(st.tuples(NOISE, ADDRESS, BODY), max_size=8), st.integers(1, 400))
def test_frames_are_found_between_noise_in_pieces_of_any_size(
    parts: list[tuple[bytes, int, bytes]], step: int
) -> None:
    data = b"".join(noise + frame.encode(address, body) for noise, address, body in parts)
    assert read(frame.Reader(), data, step) == [(a, b) for _, a, b in parts]


@given(st.lists(st.binary(max_size=700), max_size=8))
def test_noise_never_raises_and_the_next_frame_is_found(pieces: list[bytes]) -> None:
    reader = frame.Reader(512)
    for piece in pieces:
        reader.feed(piece)
        while reader.next():
            pass
    assert read(reader, b"\0" + frame.encode(3, b"here"))[-1:] == [(3, b"here")]


def test_text_printed_on_the_line_is_passed_over() -> None:
    reader = frame.Reader()
    text = b"Traceback (most recent call last):\r\n" * 20
    assert read(reader, text + b"\0" + frame.encode(1, b"x"), 64) == [(1, b"x")]
    assert reader.bad == 1


def test_an_endless_line_is_given_up_as_soon_as_no_frame_can_be_in_it() -> None:
    reader = frame.Reader()
    assert read(reader, b"x" * frame.MAX_STUFFED) == []
    assert reader.bad == 0
    assert read(reader, b"x") == []
    assert reader.bad == 1
    assert read(reader, b"x" * 300 + b"\0") == []
    assert reader.bad == 1


def test_empty_frames_are_silence_not_errors() -> None:
    reader = frame.Reader()
    assert read(reader, b"\0\0\0") == []
    assert reader.bad == 0


def test_a_frame_too_long_or_too_short_is_counted() -> None:
    reader = frame.Reader()
    plain = bytes(range(1, 248))
    for body in (plain + b"abcd", b"ab"):
        reader.feed(frame.cobs_encode(body) + b"\0")
    assert reader.next() is None
    assert reader.bad == 2


def test_a_whole_frame_over_the_limit_is_refused_though_its_crc_is_right() -> None:
    from fieldcore.compat import crc32

    plain = bytes(frame.MAX_FRAME - 3)
    data = frame.cobs_encode(plain + crc32(plain).to_bytes(4, "little")) + b"\0"
    reader = frame.Reader()
    assert read(reader, data) == []
    assert reader.bad == 1


def test_more_than_the_room_gives_up_the_oldest_and_resynchronises() -> None:
    reader = frame.Reader(512)
    one = frame.encode(1, b"\1" * 200)
    reader.feed(one * 4)
    found = [reader.next(), reader.next(), reader.next()]
    assert found[0] == (1, b"\1" * 200)
    assert found[-1] is None
    assert reader.bad == 1


def test_unread_frames_survive_later_feeds_within_the_room() -> None:
    reader = frame.Reader(512)
    for i in range(4):
        reader.feed(frame.encode(i, bytes(100)))
    assert [reader.next() for _ in range(5)] == [*((i, bytes(100)) for i in range(4)), None]
