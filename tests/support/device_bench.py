"""A whole device core on a bench: time that jumps, a host that seals, a carrier written down.

Runs on both interpreters (tests/fieldcore/vectors/device.py), so it keeps to the common subset.
"""

from fieldcore import frame, message, opening, sheet, wire
from fieldcore.compat import TICKS_MASK, sha256
from fieldcore.device import AIR, Device
from fieldcore.seal import Key
from fieldcore.sensor import Block

KEY = bytes(range(32))
ID = b"target-1"
RUN_ID = b"run-0001"
BLOCK_FRAMES = 32
BLOCK_US = BLOCK_FRAMES * 1250
MINUTE_US = 60_000_000


class Memory:
    """Flash: bytes are written once after an erase."""

    def __init__(self, pages=8, page_size=4096):
        self.pages = pages
        self.page_size = page_size
        self.data = bytearray(b"\xff" * (pages * page_size))

    def read_into(self, offset, buf):
        buf[:] = self.data[offset : offset + len(buf)]

    def write(self, offset, data):
        assert bytes(self.data[offset : offset + len(data)]) == b"\xff" * len(data)
        self.data[offset : offset + len(data)] = data

    def erase(self, page):
        start = page * self.page_size
        self.data[start : start + self.page_size] = b"\xff" * self.page_size


class Board:
    """Writes down what it is told; `now_us` is the bench's time, which never wraps.

    `pulses` holds [begin_us, periods, end_us]; an abort moves the end of the one under way.
    """

    board = "bench"
    build = "1"

    def __init__(self, store, key, role, device_id):
        self.store = store
        self.device_id = device_id
        self.role = role
        self.channels = 3
        self.hints = True
        self.now_us = 0
        self.volts_mv = 3000
        self.kept = None
        self.pulses = []
        self.aborts = 0
        self.sent = []
        self.advertised = []
        self.sounds = []
        self._key = key
        self._drawn = 0

    def key(self):
        return self._key

    def random(self, count):
        self._drawn += 1
        return sha256(b"%d" % self._drawn)[:count]

    def settings_bytes(self):
        return self.kept

    def keep_settings(self, data):
        self.kept = data

    def battery_mv(self):
        return self.volts_mv

    def pulse(self, periods):
        self.pulses.append([self.now_us, periods, self.now_us + periods * 1000 // 457])

    def abort(self):
        self.aborts += 1
        if self.pulses and self.pulses[-1][2] > self.now_us:
            self.pulses[-1][2] = self.now_us

    def send(self, link, data):
        self.sent.append((link, data))

    def advertise(self, data):
        self.advertised.append(data)

    def light(self, pattern):
        self.sounds.append((self.now_us, pattern))

    def horn(self, pattern):
        pass


def bodies(data):
    """[(address, values)] of the frames in `data`."""
    reader = frame.Reader(4096)
    reader.feed(data)
    found = []
    one = reader.next()
    while one:
        found.append((one[0], message.unpack(one[1])))
        one = reader.next()
    return found


class DeviceBench:
    """`first_us`: the raw counter at the bench's zero. Sealed requests number themselves."""

    def __init__(self, key=KEY, role=0, device_id=ID, first_us=0, ms=-1, pages=8):
        self.board = Board(Memory(pages), key, role, device_id)
        self.now_us = 0
        self.key = Key(KEY)
        self._first_us = first_us
        self._link = None
        self.counter = 0
        self._block = Block(BLOCK_FRAMES)
        self._block.count = BLOCK_FRAMES
        self._start_device()
        if ms >= 0:
            self.device.clock.start_at(0, ms)

    # Time and power

    def _start_device(self):
        self.device = Device(self.board)
        self.wait_us = self.device.advance(self.raw())

    def raw(self):
        """The board's microsecond counter."""
        return (self._first_us + self.now_us) & TICKS_MASK

    def advance(self):
        self.wait_us = self.device.advance(self.raw())

    def until(self, at_us):
        """Go on to this time of the bench, calling the device whenever it asks for it."""
        calls = 0
        while self.now_us < at_us:
            step_us = min(self.wait_us, at_us - self.now_us)
            assert 0 <= self.wait_us <= 300_000_000
            self.now_us += step_us
            self.board.now_us = self.now_us
            self.advance()
            calls = calls + 1 if step_us == 0 else 0
            assert calls < 20, "it asks for no wait for ever"

    def pass_us(self, us):
        self.until(self.now_us + us)

    def pass_ms(self, ms):
        self.until(self.now_us + ms * 1000)

    def freeze(self, us):
        """The processor hangs for so long."""
        self.now_us += us
        self.board.now_us = self.now_us
        self.advance()

    def reboot(self):
        """Power off and on: a carrier dies, RAM is gone, the store stays."""
        self.board.abort()
        self._link = None
        self._start_device()

    # The host

    def say(self, body, address=1, link=0):
        """A body as one frame; the values of what came back, hints left out."""
        return self.say_bytes(frame.encode(address, body), link)

    def say_bytes(self, data, link=0):
        first = len(self.board.sent)
        self.device.feed(link, data, self.raw())
        self.advance()
        back = [one for _, sent in self.board.sent[first:] for one in bodies(sent)]
        assert all(address == 0 for address, _ in back)
        return [values for _, values in back if values != [wire.HAVE_DATA]]

    def hello(self, major=wire.MAJOR):
        (values,) = self.say(message.pack(wire.HELLO, major, 0))
        return values

    def open(self, key=None, host_nonce=b"host-nonce-1"):
        """Hello and open; the values of the answer."""
        key = key or self.key
        nonce = self.hello()[8]
        tag = opening.open_tag(key, nonce, host_nonce, self.board.device_id)
        (values,) = self.say(message.pack(wire.OPEN, host_nonce, tag))
        if values[0] == wire.OPENED:
            self._link = opening.link_key(key, nonce, host_nonce, self.board.device_id)
            assert values[1] == opening.opened_tag(self._link, self.board.device_id)
            self.counter = 0
        return values

    def request(self, message_id, *fields):
        """The body of the next sealed request."""
        self.counter += 1
        return self.sealed(self.counter, message.pack(message_id, *fields))

    def sealed(self, counter, body):
        way = opening.TO_DEVICE
        tag = opening.seal_tag(self._link, way, self.board.device_id, counter, body)
        return message.pack(wire.REQUEST, counter, body, tag)

    def ask(self, message_id, *fields):
        """The values of the reply to a sealed request, its tag checked."""
        if self._link is None:
            self.open()
        (values,) = self.say(self.request(message_id, *fields))
        assert values[:2] == [wire.REPLY, self.counter], values
        right = opening.seal_tag(
            self._link, opening.TO_HOST, self.board.device_id, values[1], values[2]
        )
        assert values[3] == right
        return message.unpack(values[2])

    def load(self, slot=0, data=None, **fields):
        """Load and commit a sheet; the values of the reply to the commit."""
        data = data or sheet_bytes(**fields)
        for offset in range(0, len(data), 96):
            said = self.ask(wire.LOAD, slot, offset, data[offset : offset + 96])
            if said != [wire.DONE]:
                return said
        return self.ask(wire.COMMIT, slot, sheet.digest(data), self.silence_count())

    def start(self, slot=0, ahead_ms=3000, us=0, elapsed_ms=0, count=None):
        """Set the start; the bench time of it is `start_us`."""
        clock = self.device.clock
        count = self.silence_count() if count is None else count
        self.start_us = self.now_us + ahead_ms * 1000 + us - clock.us
        at_ms = (clock.ms + ahead_ms) & TICKS_MASK
        lap = (clock.lap + (at_ms < clock.ms)) & 0xFF
        return self.ask(wire.START, slot, lap, at_ms, us, elapsed_ms, count)

    def run(self, slot=0, **fields):
        """Load, start and go to the start."""
        assert self.load(slot, **fields)[0] == wire.COMMITTED
        assert self.start(slot) == [wire.DONE]
        self.until(self.start_us)

    def silence_count(self):
        return self.device.journal.silence_count

    def silence(self, link=0, address=255):
        return self.say(message.pack(wire.SILENCE), address, link)

    def silence_by_air(self):
        return self.silence(AIR)

    def status(self):
        return self.ask(wire.STATUS)

    # The ground

    def feel(self, count, x=0, z=1000, size=0):
        """So many blocks of 40 ms at rest, with a blow of `size` mg in the middle of the first."""
        frames = self._block.frames
        for block in range(count):
            for i in range(BLOCK_FRAMES):
                frames[4 * i] = x + (i * 7) % 5
                frames[4 * i + 1] = (i * 7 + 1) % 5
                frames[4 * i + 2] = z + (i * 7 + 2) % 5
                frames[4 * i + 3] = (i * 7 + 3) % 5
            if size and block == 0:
                frames[4 * 16 + 2] += size
                frames[4 * 16 + 3] += size // 10
            self.pass_us(BLOCK_US)
            self._block.first_us = (self.raw() - BLOCK_US) & TICKS_MASK
            self.device.samples(self._block)
            self.advance()

    def strike(self):
        """One hit of a probe out of rest, 60 ms after `now`; then rest again."""
        self.feel(1)
        self.feel(1, size=2000)
        self.feel(24)

    def knock(self):
        """The pattern that silences: five even knocks 320 ms apart."""
        self.feel(30)
        for _ in range(5):
            self.feel(8, size=2000)
        self.feel(30)

    def dig_out(self):
        """It lies on its side from now on."""
        self.feel(10)
        self.feel(60, x=1000, z=0)

    # What is left behind

    def records(self):
        """[kind, flags, seq, ms, us, payload] of every record in the journal, oldest first."""
        found = []
        buf = bytearray(32)
        journal = self.device.journal
        seq = 0
        while journal.read_into(seq, buf, 1):
            seq = int.from_bytes(buf[4:8], "little")
            ms = int.from_bytes(buf[12:16], "little")
            us = int.from_bytes(buf[16:18], "little")
            found.append([buf[0], buf[1], seq, ms, us, bytes(buf[20:28])])
        return found

    def kinds(self):
        return [record[0] for record in self.records()]

    def ends(self):
        """The reasons of the ends in the journal."""
        return [record[5][0] for record in self.records() if record[0] == wire.EVENT_ENDED]

    def pulse_times_us(self):
        """Bench times of all pulses, from the last start."""
        return [pulse[0] - self.start_us for pulse in self.board.pulses]


SENDS_AT_ONCE = [[wire.CUE_AT, 0, 0, True]]


def sheet_bytes(
    device_id=ID,
    run_id=RUN_ID,
    revision=1,
    period_us=1_000_000,
    on_us=82_000,
    phase_us=0,
    lease_ms=1_200_000,
    end_ms=1_200_000,
    cues=None,
):
    fields = [device_id, run_id, revision, period_us, on_us, phase_us, lease_ms, end_ms]
    fields.append(SENDS_AT_ONCE if cues is None else cues)
    return sheet.write(sheet.Sheet(fields))
