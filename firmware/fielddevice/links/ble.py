"""A link over Bluetooth Low Energy, on MicroPython's own `bluetooth` module.

One central at a time; the frames of every medium in pieces. Frames of the host come by writes to
the `inbox`. Frames to the host go by notifications of the `outbox`, a rising byte in front of each
so that a piece lost or doubled on the way is seen. `credit` holds how many bytes of the inbox were
taken since the connection began (u16, little-endian) and how many the ring holds (u16); it is
notified as the first rises, and a host never has more bytes under way than the second: nothing is
dropped for want of room. Whoever writes more loses it, and only its own frames.

Not confirmed on any hardware: that a stack lets a board scan while it advertises or is connected,
and advertise silence while it is connected; that every write is told of before the next ones have
filled the 512 bytes of the stack's own buffer; what the air, snow and 2.4 GHz neighbours lose; what
the windows cost the battery; how soon after a loss the radio is found again.
Numbers of services and characteristics from the Bluetooth assigned numbers.
"""

import struct

from bluetooth import UUID

from fieldcore.compat import const
from fieldcore.instant import diff_ms
from fielddevice.links.air import Air
from fielddevice.links.ring import Ring

_CENTRAL_CONNECT = const(1)
_CENTRAL_DISCONNECT = const(2)
_GATTS_WRITE = const(3)
_SCAN_RESULT = const(5)
_MTU_EXCHANGED = const(21)

_READ = const(0x02)
_WRITE_NO_RESPONSE = const(0x04)
_WRITE = const(0x08)
_NOTIFY = const(0x10)

_OURS = "03d4%04x-3d45-4fea-a9c8-86abecb23e25"
_BATTERY = const(0x180F)
_BATTERY_LEVEL = const(0x2A19)
_INFORMATION = const(0x180A)
_MODEL = const(0x2A24)
_SERIAL_NUMBER = const(0x2A25)
_FIRMWARE = const(0x2A26)
_MANUFACTURER = const(0x2A29)

_MTU = const(247)  # fills one packet of the radio's longest kind
_LEAST_MTU = const(23)
_ROOM = const(1024)  # four whole frames
_STACK_ROOM = const(512)
_AT_ONCE = const(256)
_CREDIT_STEP = const(256)

_AGAIN_MS = const(5)
_FAR_MS = const(300_000)
_REFUSE_MS = const(5_000)
_REFUSE_DOUBLINGS = const(3)
_BATTERY_EVERY_MS = const(60_000)
_FROZEN_MS = const(1_200_000)  # after a run: those of others may last 20 minutes more
_EMPTY_MV = const(2000)
_SILENCE_FRAME = b"\x08\xff\x81\x05\x7a\xb0\x2b\x13\x00"


class BleLink:
    """`radio` is a `bluetooth.BLE()`, `board` the Board port; nothing is touched before `begin`.

    A central whose link bears no new valid sealed frame for `unproven_ms` is dropped, and one that
    bore none at all is refused for a while: each time longer, until it bears one. `woken`: call
    `mind` soon. `spilled` counts pieces that found no room.
    """

    def __init__(self, radio: object, board: object, unproven_ms: int = 10_000) -> None:
        self.woken = False
        self.spilled = 0
        self._radio = radio
        self._board = board
        self._unproven_ms = unproven_ms
        self._name = "Blindfield " + "".join("%02x" % byte for byte in board.device_id)
        self._air = Air(radio, self._name)
        self._in = Ring(_ROOM)
        self._out = Ring(_ROOM)
        self._connection = -1
        self._peer = b""
        self._mtu = _LEAST_MTU
        self._base = 0  # the ring's count as the connection began
        self._arrived = False
        self._fresh = False
        self._told = 0
        self._sequence = 0
        self._proofs = 0
        self._proven = self._dropped = False
        self._proof_ms = -1
        self._refused = b""
        self._refused_ms = 0
        self._refusals = 0
        self._battery_ms = -1
        self._busy_ms = -1
        self._silences = -1
        self._by_air = False

    def begin(self) -> None:
        """Radio on, services in place; `mind` then begins to advertise."""
        radio = self._radio
        radio.active(True)
        radio.config(gap_name=self._name, mtu=_MTU)
        ours = (
            (UUID(_OURS % 2), _WRITE | _WRITE_NO_RESPONSE),
            (UUID(_OURS % 3), _NOTIFY),
            (UUID(_OURS % 4), _READ | _NOTIFY),
        )
        about = (
            (UUID(_MANUFACTURER), _READ),
            (UUID(_MODEL), _READ),
            (UUID(_SERIAL_NUMBER), _READ),
            (UUID(_FIRMWARE), _READ),
        )
        handles = radio.gatts_register_services(
            (
                (UUID(_OURS % 1), ours),
                (UUID(_BATTERY), ((UUID(_BATTERY_LEVEL), _READ),)),
                (UUID(_INFORMATION), about),
            )
        )
        self._inbox, self._outbox, self._credit = handles[0]
        self._battery = handles[1][0]
        texts = ("Blindfield", self._board.board, self._name[11:], self._board.build)
        for handle, text in zip(handles[2], texts):
            radio.gatts_write(handle, text.encode())
        radio.gatts_set_buffer(self._inbox, _STACK_ROOM, True)
        radio.gatts_write(self._credit, struct.pack("<HH", 0, _ROOM))
        radio.irq(self._irq)

    # What the stack tells, at any moment: stored and flagged, no more

    def _irq(self, event: int, data: tuple) -> None:
        if event == _GATTS_WRITE:
            if data[1] == self._inbox and not self._in.put(self._radio.gatts_read(self._inbox)):
                self.spilled += 1
        elif event == _CENTRAL_CONNECT:
            self._connection = data[0]
            self._peer = bytes(data[2])
            self._mtu = _LEAST_MTU
            self._base = self._in.put_count
            self._arrived = True
        elif event == _CENTRAL_DISCONNECT:
            if data[0] == self._connection:
                self._connection = -1
        elif event == _MTU_EXCHANGED:
            self._mtu = data[1]
        elif event != _SCAN_RESULT or not self._air.scanned(data[4]):
            return
        self.woken = True

    # What the board's loop asks

    def read(self) -> "bytes | None":
        """What came, in pieces; None when nothing did."""
        self._greet()
        if not len(self._in) and not self._fresh:
            return None
        data = self._in.peek(_AT_ONCE)
        self._in.skip(len(data))
        if self._fresh:
            self._fresh = False
            data = b"\0" + data  # ends what another central left half said
        return data

    def deliver(self, device: object, data: bytes, now_us: int) -> None:
        """All of it is for the core."""
        device.feed(0, data, now_us)

    def write(self, frame: bytes) -> None:
        """Send a whole frame; nothing when nobody is connected or what was sent is not taken."""
        self._greet()
        if self._connection >= 0 and not self._out.put(frame):
            self.spilled += 1
        self._push()

    def heard(self) -> "bytes | None":
        """The silence frame that somebody advertised, once."""
        frame = self._air.heard()
        if frame:
            self._by_air = True
        return frame

    def shout(self, frame: bytes) -> None:
        """Repeat a silence frame on the air for some seconds."""
        self._air.shout(frame)

    def mind(self, device: object, now_us: int) -> int:
        """Do all that is due after the core's own step; microseconds until it wants to again."""
        self.woken = False
        self._greet()
        device.clock.advance(now_us)
        now_ms = device.clock.ms
        busy = device.armed or device.run.running
        wait_ms = self._judge(device.opening.proofs, now_ms)
        if self._push():
            wait_ms = min(wait_ms, _AGAIN_MS)
        if busy:
            self._busy_ms = now_ms
        self._tell_battery(now_ms)
        self._repeat_silence(device.journal.silence_count)
        connected = self._connection >= 0
        wait_ms = min(wait_ms, self._air.mind(device.settings, now_ms, busy, connected))
        return 0 if len(self._in) or self._fresh else wait_ms * 1000

    # A connection

    def _greet(self) -> None:
        """Begin with a central that has come since."""
        if not self._arrived:
            return
        self._arrived = False
        self._in.taken_count = self._base
        self._out.taken_count = self._out.put_count
        self._fresh = True
        self._told = self._sequence = 0
        self._air.stopped()
        self._proof_ms = -1
        self._proven = self._dropped = False

    def _push(self) -> bool:
        """Notify what waits; whether some of it must wait on."""
        try:
            taken = (self._in.taken_count - self._base) & 0xFFFF
            if self._connection >= 0 and (taken - self._told) & 0xFFFF >= _CREDIT_STEP:
                said = struct.pack("<HH", taken, _ROOM)
                self._radio.gatts_notify(self._connection, self._credit, said)
                self._told = taken
            while self._connection >= 0 and len(self._out):
                piece = self._out.peek(min(self._mtu, _MTU) - 4)
                said = bytes((self._sequence,)) + piece
                self._radio.gatts_notify(self._connection, self._outbox, said)
                self._out.skip(len(piece))
                self._sequence = (self._sequence + 1) & 0xFF
        except OSError:
            return True  # the stack has no room now, or the central has just gone
        return False

    def _judge(self, proofs: int, now_ms: int) -> int:
        """Drop a central that proves nothing; milliseconds until it has to have proved more."""
        if self._connection < 0 or self._dropped:
            self._proofs = proofs
            return _FAR_MS
        if self._proof_ms < 0:
            self._proof_ms = now_ms
            if self._is_refused(now_ms):
                return self._drop()
        if proofs != self._proofs:
            self._proofs = proofs
            self._proof_ms = now_ms
            self._proven = True
            if self._peer == self._refused:
                self._refused = b""
        left_ms = self._unproven_ms - diff_ms(now_ms, self._proof_ms)
        if left_ms > 0:
            return left_ms
        if not self._proven:
            self._refusals = self._refusals + 1 if self._peer == self._refused else 0
            self._refused = self._peer
            self._refused_ms = now_ms
        return self._drop()

    def _is_refused(self, now_ms: int) -> bool:
        for_ms = _REFUSE_MS << min(self._refusals, _REFUSE_DOUBLINGS)
        recent = diff_ms(now_ms, self._refused_ms) < for_ms
        return bool(self._refused) and self._peer == self._refused and recent

    def _drop(self) -> int:
        self._dropped = True
        try:
            self._radio.gap_disconnect(self._connection)
        except OSError:
            pass  # gone by itself
        return _FAR_MS  # its end is told like any other

    def _repeat_silence(self, count: int) -> None:
        """A silence by hand or by a host is told to those near, each time that somebody asks; one
        heard on the air only once, which the core sees to."""
        if self._silences >= 0 and count != self._silences and not self._by_air:
            self._air.shout(_SILENCE_FRAME)
        self._silences = count
        self._by_air = False

    def _tell_battery(self, now_ms: int) -> None:
        """The level that anybody may read; it stands still from a start to well after the run."""
        if self._busy_ms >= 0 and diff_ms(now_ms, self._busy_ms) < _FROZEN_MS:
            return
        if self._battery_ms >= 0 and diff_ms(now_ms, self._battery_ms) < _BATTERY_EVERY_MS:
            return
        self._battery_ms = now_ms
        percent = max(0, min(100, (self._board.battery_mv() - _EMPTY_MV) // 20))
        self._radio.gatts_write(self._battery, bytes((percent,)))
