"""A device: frames, samples and time go in; effects go out through the board handed in.

Call `advance` after each `feed` and `samples`, and again when the wait it gave is over.
"""

import struct

from fieldcore import frame, instant, message, sensor
from fieldcore.commands import answer
from fieldcore.compat import const, sha256
from fieldcore.journal import Journal
from fieldcore.knock import KnockDetector
from fieldcore.opening import Opening
from fieldcore.run import Run
from fieldcore.slots import Slots
from fieldcore.strike import StrikeDetector
from fieldcore.tilt import TiltDetector

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from typing import Any

    from fieldcore.board import Board
    from fieldcore.sheet import Sheet

# made by blindfield.model.generate
_MAJOR = const(1)
_MINOR = const(0)
_HELLO = const(1)
_HELLO_IS = const(2)
_OPEN = const(3)
_OPENED = const(4)
_SILENCE = const(5)
_REFUSED = const(6)
_HAVE_DATA = const(7)
_REQUEST = const(8)
_REPLY = const(9)
_NO_UNKNOWN = const(1)
_EVENT_STRIKE = const(2)
_EVENT_DUG_OUT = const(3)
_EVENT_KNOCK = const(4)
_EVENT_SILENCED = const(5)
_EVENT_STARTED = const(7)
_EVENT_SENDS = const(8)
_EVENT_RESTS = const(9)
_EVENT_ENDED = const(10)
_EVENT_GAP = const(11)
_END_SILENCE = const(5)
_END_CANCELLED = const(6)
_BY_FRAME = const(1)
_BY_AIR = const(2)
_BY_KNOCK = const(3)
# end of what is made

AIR = const(255)  # the link on which advertisements of other devices are heard
NO_SLOT = const(255)

FLAG_RUNNING = const(1)  # flags of a journal record
FLAG_SENDS = const(2)

_DUG_OUT_DEG = const(13)  # its place in the settings
_READER_ROOM = const(600)
_FAR_US = const(300_000_000)
_FAR_MS = const(300_000)
_NO_PAYLOAD = bytes(8)


class Device:
    """One device over its board. `slot` is the sheet set or running; `armed`: a start is set."""

    def __init__(self, board: "Board", links: "tuple[int, ...]" = (0,)) -> None:
        self.board = board
        self.links = links
        self.clock = instant.Clock()
        self.journal = Journal(board.store, board.random)
        self.journal.mount()
        self.run = Run(board, self._on_cue, self._on_end)
        self.opening = Opening(board.device_id, board.key())
        self.slots = Slots()
        self.slot = NO_SLOT
        self.armed = False
        self.refusals = 0
        self.settings = self._read_settings()
        self._readers = {link: frame.Reader(_READER_ROOM) for link in links + (AIR,)}
        self._sheet: Sheet | None = None
        self._start_ms = self._start_us = self._origin_ms = 0
        self._sound = -1
        self._sound_ms = self._sound_us = 0
        self._unkept = 0
        self.sense_anew()

    # Settings

    def _read_settings(self) -> "list[int]":
        kept = self.board.settings_bytes()
        settings = sensor.defaults(self.board.channels)
        if kept and len(kept) == 4 * len(settings):
            values = list(struct.unpack("<%di" % len(settings), kept))
            try:
                sensor.check(values)
                return values
            except ValueError:
                pass  # an older build's settings: the defaults are safe
        return settings

    def settings_bytes(self) -> bytes:
        """The settings as they travel: i32 little-endian, in the order of the table."""
        return struct.pack("<%di" % len(self.settings), *self.settings)

    def sense_anew(self) -> None:
        """Make the detectors anew from the settings."""
        self._strikes = StrikeDetector(self.settings, self.board.channels)
        self._knocks = KnockDetector()
        self._tilt = TiltDetector(self.settings[_DUG_OUT_DEG])

    # Frames

    def feed(self, link: int, data: bytes, now_us: int) -> None:
        """Bytes as they came from `link`, in pieces of any size."""
        self.clock.advance(now_us)
        reader = self._readers[link]
        reader.feed(data)
        found = reader.next()
        while found:
            if found[0] != 0:
                self._take_frame(link, found[0], found[1])
            found = reader.next()

    def _take_frame(self, link: int, address: int, body: bytes) -> None:
        about = 0
        try:
            values = message.unpack(body)
            about = values[0]
            if about == _SILENCE:
                self.silence(_BY_AIR if link == AIR else _BY_FRAME)
            elif link != AIR and address != 255:
                self._answer_plain(link, values)
        except message.Refusal as refusal:
            self.refusals = (self.refusals + 1) & 0xFFFF
            if link != AIR and address != 255:
                self._send(link, message.pack(_REFUSED, refusal.code, about))

    def _answer_plain(self, link: int, values: "list[Any]") -> None:
        if values[0] == _HELLO:
            self._send(link, self._hello())
        elif values[0] == _OPEN:
            self._send(link, message.pack(_OPENED, self.opening.open(values[1], values[2])))
        elif values[0] == _REQUEST:
            self._answer_sealed(link, values[1], values[2], values[3])
        else:
            raise message.Refusal(_NO_UNKNOWN)

    def _hello(self) -> bytes:
        nonce = struct.pack("<I", self.journal.clock_id) + self.board.random(8)
        self.opening.pending(nonce)
        return message.pack(
            _HELLO_IS,
            _MAJOR,
            _MINOR,
            self.board.device_id,
            self.board.role,
            self.board.board,
            self.board.build,
            sha256(self.settings_bytes())[:8],
            nonce,
        )

    def _answer_sealed(self, link: int, counter: int, body: bytes, tag: bytes) -> None:
        reply = self.opening.unwrap(counter, body, tag)
        if reply is None:
            self.run.heard(self.clock.ms)
            reply = self._sealed(self._reply_to(body))
            self.opening.keep(reply)
        self.board.send(link, frame.encode(0, reply))

    def _reply_to(self, body: bytes) -> bytes:
        about = 0
        try:
            values = message.unpack(body)
            about = values[0]
            return answer(self, values)
        except message.Refusal as refusal:
            self.refusals = (self.refusals + 1) & 0xFFFF
            return message.pack(_REFUSED, refusal.code, about)

    def _sealed(self, body: bytes) -> bytes:
        counter, tag = self.opening.wrap(body)
        return message.pack(_REPLY, counter, body, tag)

    def _send(self, link: int, body: bytes) -> None:
        self.board.send(link, frame.encode(0, body))

    # Sensors

    def samples(self, block: "sensor.Block") -> None:
        """One block of samples; its first instant at most 5 min old."""
        found = self._strikes.feed(block)
        for place in range(found):
            finding = self._strikes.findings[place]
            lap, ms, us = self.clock.instant_of((block.first_us + finding.at_us) & 0x3FFFFFFF)
            payload = bytes((finding.strength, finding.kind, finding.flags, 0, 0, 0, 0, 0))
            self._note_at(_EVENT_STRIKE, lap, ms, us, payload)
            if self.run.running:
                self.run.struck(ms)
        self._knocks.take(self._strikes, block)
        if self._tilt.feed(block):
            self.note(_EVENT_DUG_OUT, bytes((min(self._tilt.turned, 255),)) + bytes(7))
            if self.run.running:
                self.run.dug_out(self.clock.ms)
            self._hint()
        elif found:
            self._hint()

    # Time

    def advance(self, now_us: int) -> int:
        """Do all that is due; microseconds until it wants to be called again (<= 300 s)."""
        self.clock.advance(now_us)
        if self._knocks.advance(now_us):
            self.note(_EVENT_KNOCK, _NO_PAYLOAD)
            self.silence(_BY_KNOCK)
        wait_us = _FAR_US
        if self.armed:
            wait_us = min(wait_us, self._advance_start())
        if self.run.running:
            wait_us = min(wait_us, self.run.advance(self.clock))
        if self._sound >= 0:
            wait_us = min(wait_us, self._advance_sound())
        return max(wait_us, 0)

    def _advance_start(self) -> int:
        left_ms = instant.diff_ms(self._start_ms, self.clock.ms)
        if left_ms > _FAR_MS:
            return _FAR_US
        left_us = instant.diff_us(self._start_ms, self._start_us, self.clock.ms, self.clock.us)
        if left_us > 0 or self._sheet is None:
            return left_us
        self.armed = False
        self.run.begin(self._sheet, self._start_ms, self._start_us, self._origin_ms)
        payload = struct.pack("<BIBH", self._sheet.revision, self._origin_ms, 0, 0)
        self.note(_EVENT_STARTED, payload)
        return 0

    def _advance_sound(self) -> int:
        left_us = instant.diff_us(self._sound_ms, self._sound_us, self.clock.ms, self.clock.us)
        if left_us > 0:
            return left_us
        self.board.horn(self._sound)
        self.board.light(self._sound)
        self._sound = -1
        return _FAR_US

    # What commands and the board may do

    def arm(self, slot: int, sheet: "Sheet", ms: int, us: int, origin_ms: int) -> None:
        """Set the start of `sheet`, which stays in `slot`."""
        self.slot = slot
        self._sheet = sheet
        self._start_ms, self._start_us, self._origin_ms = ms, us, origin_ms
        self.armed = True

    def is_armed_for(self, slot: int, ms: int, us: int) -> bool:
        """Whether this very start is set already, or under way."""
        same_instant = ms == self._start_ms and us == self._start_us
        return slot == self.slot != NO_SLOT and same_instant

    def live_left_ms(self) -> int:
        """How long from now a carrier may still come; 0 when neither set nor running."""
        if not self.armed or self._sheet is None:
            return self.run.live_left_ms(self.clock.ms)
        ahead_ms = instant.diff_ms(self._start_ms, self.clock.ms)
        most_ms: int = min(self._sheet.end_ms - self._origin_ms, self._sheet.lease_ms)
        return max(0, ahead_ms) + most_ms

    def disarm(self, reason: int) -> None:
        """Forget a start that has not come."""
        if self.armed:
            self.armed = False
            self._on_end(reason)

    def sound_at(self, pattern: int, ms: int, us: int) -> None:
        """Horn and light at an instant; now when it is past."""
        self._sound, self._sound_ms, self._sound_us = pattern, ms, us

    def silence(self, cause: int) -> None:
        """Every carrier of this device off, latched, and told to the devices near once."""
        self.board.abort()
        fresh = not self.journal.latched
        count = (self.journal.silence_count + 1) & 0xFFFF
        self.journal.set_silence(
            count, True
        )  # before any write: a store that fails changes nothing
        self.run.end(_END_SILENCE)
        self.disarm(_END_SILENCE)
        if fresh:
            self.note(_EVENT_SILENCED, struct.pack("<HBBI", count, 1, cause, 0))
            self.board.advertise(frame.encode(255, message.pack(_SILENCE)))
            self._hint()

    def note(self, kind: int, payload: bytes) -> None:
        """Write an event of now into the journal."""
        self._note_at(kind, self.clock.lap, self.clock.ms, self.clock.us, payload)

    def _note_at(self, kind: int, lap: int, ms: int, us: int, payload: bytes) -> None:
        tag = flags = 0
        if self._sheet and (self.run.running or self.armed or kind == _EVENT_ENDED):
            tag = self._sheet.run_id[0] | self._sheet.run_id[1] << 8
        if self.run.running:
            flags = FLAG_RUNNING | (FLAG_SENDS if self.run.sends else 0)
        if self._unkept:
            gap = struct.pack("<II", self._unkept, 0)
            if self.journal.append(_EVENT_GAP, 0, lap, ms, us, tag, gap):
                self._unkept = 0
        if not self.journal.append(kind, flags, lap, ms, us, tag, payload):
            self._unkept += 1

    def _on_cue(self, cue: int, sends: bool) -> None:
        kind = _EVENT_SENDS if sends else _EVENT_RESTS
        self.note(kind, bytes((cue, 0, 0, 0, 0, 0, 0, 0)))

    def _on_end(self, reason: int) -> None:
        self.note(_EVENT_ENDED, bytes((reason, 0, 0, 0, 0, 0, 0, 0)))
        if self.slot != NO_SLOT and reason != _END_CANCELLED:
            self.slots.spend(self.slot)
        self.slot = NO_SLOT

    def _hint(self) -> None:
        if self.board.hints:
            for link in self.links:
                self._send(link, message.pack(_HAVE_DATA))
