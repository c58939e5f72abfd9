"""The program of a device: hands the core what its link and its board bring, for ever."""

import gc
import sys

from fieldcore.device import AIR, Device


def main() -> None:
    """Run this device; only a failure or the end of the power ends it."""
    if sys.platform != "linux":
        raise NotImplementedError("no driver for this board yet: " + sys.platform)
    from fielddevice.boards.unix import UnixBoard

    gc.collect()  # what importing left would lie between the core's buffers, which stay for ever
    try:
        board = UnixBoard.from_environment()
        serve(board, Device(board, (0,)))
    except Exception as error:
        sys.print_exception(error, sys.stderr)  # by itself it would go out on the serial line
        sys.exit(1)


def serve(board: object, device: Device) -> None:
    """The loop of every board.

    `board.wait(us)` sleeps until something came or the time is over; `board.received()`,
    `board.heard()` and `board.felt()` then give link bytes, an advertisement and a block of
    samples, or None. The core is told the time before each, since it may have slept for long.
    """
    wait_us = device.advance(board.now_us())
    while True:
        board.wait(wait_us)
        now_us = board.now_us()
        wait_us = device.advance(now_us)
        data = board.received()
        if data:
            device.feed(0, data, now_us)
        data = board.heard()
        if data:
            device.feed(AIR, data, now_us)
        block = board.felt()
        if block:
            device.samples(block)
        wait_us = device.advance(board.now_us())
