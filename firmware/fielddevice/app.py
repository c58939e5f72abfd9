"""The program of a device: hands the core what its link and its board bring, for ever."""

import gc
import sys

from fieldcore.compat import const
from fieldcore.device import AIR, Device

_BY_BUTTON = const(4)


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
    samples, or None, and `board.pressed()` whether its button was. The core is told the time
    before each, since it may have slept for long. `board.link` knows what bytes are the core's.
    """
    link = board.link
    wait_us = device.advance(board.now_us())
    while True:
        board.wait(min(wait_us, link.mind(device, board.now_us())))
        now_us = board.now_us()
        wait_us = device.advance(now_us)
        data = board.received()
        if data:
            link.deliver(device, data, now_us)
        if board.pressed():
            device.silence(_BY_BUTTON)
        data = board.heard()
        if data:
            device.feed(AIR, data, now_us)
        block = board.felt()
        if block:
            device.samples(block)
        wait_us = device.advance(board.now_us())
