"""One pair of wires for many devices (RS-485): who is meant, who may speak, when, and for how long.

A device speaks when it was asked, once, soon, and never else: what the core would say unasked or
too late is dropped here (the host asks again; the core has kept its answer). It has no address
until the host gives it one by its number, so nothing needs to be set beforehand.

The board hands in its side of the pair, all of it without waiting:

  reading     a stream that can be polled
  read()      bytes that came, or None
  write(data) put bytes into the transmitter; only while driving
  sent()      whether the last bit of them has left
  drive(on)   the direction pin: take the pair, or let go of it. Where a UART can let go by itself
              at the last bit (an RS-485 mode, an interrupt at the end), the board does that, and
              drive(False) finds it done: this loop may be late by a block of samples
  low()       whether the receiver's pin is at space now
  hold_low(us) take the pair and hold it at space for so long (a post's board only)

A break reaches a UART as one zero byte with a framing error, and most drivers keep the byte and
drop the error; to the frame reader a zero byte is nothing. So a break is told by the pin: at space
for 10 ms and no byte but zeros meanwhile. A byte holds it there for 78 us at most. A pair that is
shorted or without its bias looks the same, and silences too.
"""

from fieldcore import frame, message
from fieldcore.compat import const, ticks_add, ticks_diff

ANSWER_US = const(20_000)  # an answer begins within this after the question, or not at all
BREAK_US = const(10_000)
HOLD_US = const(20_000)
BYTE_US = const(87)  # 10 bits at 115 200 Bd
FIRST_ADDRESS = const(32)  # from here to 247 an address takes two bytes, so tokens have one size

_POLL = const(10)
_TOKEN = const(11)
_FIND = const(12)
_HERE = const(13)
_SEAT = const(14)
_BY_BREAK = const(5)

_ALL = const(255)
_ROOM = const(600)
_LOOK_US = const(1000)  # between two looks at the pin while it is at space
_SPIN_US = const(1000)
_LONGER_US = const(5000)  # a transmitter that takes so much longer than its bytes has failed
_FAR_US = const(300_000_000)


class BusLink:
    """This device's end of the pair. `now_us` reads the board's 30-bit counter."""

    def __init__(self, pair: object, device_id: bytes, random: object, now_us: object) -> None:
        self.address = 0
        self.reading = pair.reading
        self._pair = pair
        self._device_id = device_id
        self._random = random
        self._now_us = now_us
        self._reader = frame.Reader(_ROOM)
        self._search = -1
        self._asked_us = 0
        self._may_speak = False
        self._speaking = False
        self._end_us = 0
        self._low = False
        self._low_us = 0
        self._broken = False

    def read(self) -> "bytes | None":
        """What came; None when nothing did. OSError when the line is gone."""
        return self._pair.read()

    def deliver(self, device: object, data: bytes, now_us: int) -> None:
        """Hand the core what is meant for it; answer what is meant for this link."""
        if data.strip(b"\0"):
            self._low = False
        self._reader.feed(data)
        found = self._reader.next()
        while found:
            following = self._reader.next()
            # Of several questions only the last still waits: the host gave the others up.
            self._take(device, found[0], found[1], now_us, following is None)
            found = following

    def mind(self, device: object, now_us: int) -> int:
        """Let go of the pair, watch for a break; microseconds until it wants to be called again."""
        wait_us = self._let_go(now_us) if self._speaking else _FAR_US
        if self._speaking or not self._pair.low():
            self._low = self._broken = False
            return wait_us
        if not self._low:
            self._low = True
            self._low_us = now_us
        elif not self._broken and ticks_diff(now_us, self._low_us) >= BREAK_US:
            self._broken = True
            device.silence(_BY_BREAK)
        return _LOOK_US

    def write(self, data: bytes) -> None:
        """The core's answer, sent when this device has the word and nothing else."""
        late = ticks_diff(self._now_us(), self._asked_us) > ANSWER_US
        if late or not self._may_speak:
            return
        self._may_speak = False
        self._speaking = True
        self._end_us = ticks_add(self._now_us(), (len(data) + 1) * BYTE_US)
        self._pair.drive(True)
        self._pair.write(b"\0" + data)

    def hold_break(self) -> None:
        """Silence everyone on the pair at once, whoever has the word."""
        self._pair.hold_low(HOLD_US)

    def _let_go(self, now_us: int) -> int:
        left_us = ticks_diff(self._end_us, now_us)
        if left_us > _SPIN_US:
            return left_us - _SPIN_US
        while not self._pair.sent() and ticks_diff(self._now_us(), self._end_us) < _LONGER_US:
            pass  # the host may ask on as soon as the last bit is over
        self._pair.drive(False)
        self._speaking = False
        return _FAR_US

    def _take(self, device: object, address: int, body: bytes, now_us: int, last: bool) -> None:
        if address == 0 or (address != self.address and address != _ALL):
            return
        self._asked_us = now_us
        self._may_speak = last
        try:
            if body[1] == _POLL and address != _ALL:
                self._say_token(device)
            elif body[1] == _FIND or body[1] == _SEAT:
                self._take_seat(device, message.unpack(body))
            else:
                self._may_speak = last and address != _ALL
                # To the core a pair of wires is a line of its own, where it is number 1.
                device.feed(0, frame.encode(_ALL if address == _ALL else 1, body), now_us)
        except (IndexError, message.Refusal):
            pass  # noise with a right sum, or a message of a later version
        self._may_speak = False

    def _take_seat(self, device: object, values: "list[object]") -> None:
        if values[0] == _FIND:
            if values[1] != self._search and begins(self._device_id, values[3], values[2]):
                salt = self._random(2)
                self._say(message.pack(_HERE, self._device_id, salt[0] | salt[1] << 8))
        elif values[1] == self._device_id:
            self.address = values[2] if FIRST_ADDRESS <= values[2] < 248 else 0
            self._search = values[3]
            if self.address:
                self._say_token(device)
        elif values[2] == self.address:
            self.address = 0  # somebody else sits here now
            self._search = -1

    def _say_token(self, device: object) -> None:
        journal = device.journal
        state = 2 if device.opening.link is None else int(journal.last_seq != journal.acked_seq)
        mark = FIRST_ADDRESS + journal.last_seq % 192
        self._say(message.pack(_TOKEN, self.address, state, mark))

    def _say(self, body: bytes) -> None:
        self.write(frame.encode(0, body))


def begins(device_id: bytes, prefix: bytes, bits: int) -> bool:
    """Whether the first `bits` bits of both are the same."""
    whole = bits >> 3
    if bits > 64 or device_id[:whole] != prefix[:whole]:
        return False
    rest = bits & 7
    return rest == 0 or (device_id[whole] ^ prefix[whole]) >> (8 - rest) == 0
