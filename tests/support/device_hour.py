"""Runs under MicroPython, compiled: a device through an hour of its own time, and heap-locked.

The board is a fake, the host speaks fieldcore's own side of the sealed link.
"""

import gc
import json

import micropython

from fieldcore import device as device_module
from fieldcore import frame, message, opening, seal, sensor, sheet, wire
from fieldcore.compat import TICKS_MASK

PAGE = 4096
PAGES = 8
KEY = bytes(range(32))
ID = b"DEVICE_1"
RUN_ID = b"A RUN 01"
START_AHEAD_MS = 3000
RECORDS = 500


class Flash:
    """On a board it is no part of the heap, so here it is a file."""

    page_size = PAGE
    pages = PAGES

    def __init__(self, path):
        self._file = open(path, "w+b")  # noqa: SIM115 - open as long as the board lives
        for page in range(PAGES):
            self.erase(page)

    def read_into(self, offset, buf):
        self._file.seek(offset)
        self._file.readinto(buf)

    def write(self, offset, data):
        self._file.seek(offset)
        self._file.write(data)

    def erase(self, page):
        self._file.seek(page * PAGE)
        for _ in range(PAGE // 256):
            self._file.write(b"\xff" * 256)


class Board:
    device_id = ID
    role = 0
    board = "fake"
    build = "test"
    channels = 3
    hints = True

    def __init__(self, path):
        self.store = Flash(path)
        self.pulses = 0
        self.sent = None
        self._drawn = 0

    def key(self):
        return KEY

    def random(self, count):
        self._drawn += 1
        return bytes((self._drawn * 31 + i) & 255 for i in range(count))

    def settings_bytes(self):
        return None

    def keep_settings(self, data):
        pass

    def battery_mv(self):
        return 4000

    def pulse(self, periods):
        self.pulses += 1

    def abort(self):
        pass

    def send(self, link, data):
        self.sent = data

    def advertise(self, data):
        pass

    def light(self, pattern):
        pass

    def horn(self, pattern):
        pass


class Host:
    """Asks a device as the host does, sealed, and moves its time on."""

    def __init__(self, path):
        self.board = Board(path)
        self.device = device_module.Device(self.board)
        self.now_us = TICKS_MASK - 1_000_000  # the counter wraps soon
        self.block = sensor.Block()
        self.block.count = 64
        for i in range(64):
            self.block.frames[4 * i + 2] = 1000
        self._counter = 0
        self._reader = frame.Reader(600)
        self.device.advance(self.now_us)
        self._open()

    def pass_us(self, us):
        """So much later."""
        self.now_us = (self.now_us + us) & TICKS_MASK

    def _exchange(self, body):
        self.device.feed(0, frame.encode(1, body), self.now_us)
        self._reader.feed(self.board.sent)
        answer = self._reader.next()
        while answer:
            last = answer
            answer = self._reader.next()
        return message.unpack(last[1])

    def _open(self):
        nonce = self._exchange(message.pack(wire.HELLO, wire.MAJOR, wire.MINOR))[8]
        mine = bytes(12)
        field_key = seal.Key(KEY)
        tag = opening.open_tag(field_key, nonce, mine, ID)
        self._link = opening.link_key(field_key, nonce, mine, ID)
        said = self._exchange(message.pack(wire.OPEN, mine, tag))
        assert said[0] == wire.OPENED, said

    def ask(self, message_id, *fields):
        """The values of the reply."""
        self._counter += 1
        body = message.pack(message_id, *fields)
        tag = opening.seal_tag(self._link, opening.TO_DEVICE, ID, self._counter, body)
        said = self._exchange(message.pack(wire.REQUEST, self._counter, body, tag))
        assert said[0] == wire.REPLY, said
        return message.unpack(said[2])

    def load(self, slot, cues):
        fields = [ID, RUN_ID, 1, 1_000_000, 80_000, 0, 1_200_000, 1_200_000, cues]
        data = sheet.write(sheet.Sheet(fields))
        for offset in range(0, len(data), 64):
            said = self.ask(wire.LOAD, slot, offset, data[offset : offset + 64])
            assert said == [wire.DONE], said
        said = self.ask(wire.COMMIT, slot, sheet.digest(data), 0)
        assert said[0] == wire.COMMITTED, said

    def start(self, slot):
        clock = self.device.clock
        said = self.ask(wire.START, slot, clock.lap, clock.ms + START_AHEAD_MS, clock.us, 0, 0)
        assert said == [wire.DONE], said

    def step(self, most_us):
        """Call the device when it wants, at the latest after `most_us`; what passed."""
        wait_us = min(self.device.advance(self.now_us), most_us)
        self.pass_us(wait_us)
        return wait_us

    def feel(self):
        self.block.first_us = (self.now_us - 80_000) & TICKS_MASK
        self.device.samples(self.block)


def busy_cues():
    cues = [[wire.CUE_AT, 0, 0, True]]
    for word in range(1, 7):
        cues.append([wire.CUE_ON_WORD, -1, word, word & 1 == 1])
    cues.append([wire.CUE_ON_MY_DUG_OUT, 0, 0, False])
    return cues


def pass_seconds(host, seconds, ask):
    """Samples each second; with `ask` the host asks each five."""
    for second in range(seconds):
        left_us = 1_000_000
        while left_us > 0:
            left_us -= host.step(left_us)
        host.feel()
        if ask and second % 5 == 0:
            host.ask(wire.CLOCK)
            host.ask(wire.STATUS)


def hour(path):
    """Eight sheets, three runs of 20 min, a journal of 500 records fetched at the end."""
    host = Host(path)
    for slot in range(wire.MAX_SLOTS):
        host.load(slot, busy_cues())
    payload = bytes(8)
    while host.device.journal.last_seq < RECORDS:
        host.device.note(wire.EVENT_STRIKE, payload)
    for slot in range(3):
        host.start(slot)
        pass_seconds(host, 1210, True)
    journal_id, seq, count = 0, 0, 0
    while True:
        said = host.ask(wire.FETCH, journal_id, seq)
        if not said[3]:
            break
        journal_id = said[1]
        count += len(said[3]) // 32
        seq = int.from_bytes(said[3][-28:-24], "little")
    gc.collect()
    return {
        "pulses": host.board.pulses,
        "records": count,
        "last_seq": host.device.journal.last_seq,
        "clock_s": host.device.clock.ms // 1000,
        "held": gc.mem_alloc(),
        "free": gc.mem_free(),
    }


def locked(path):
    """Idle, armed and sending, with blocks in which nothing happens, all with the heap locked."""
    host = Host(path)
    host.load(0, busy_cues())
    pass_seconds(host, 5, True)  # the detectors settle, the first idle block is a second away
    idle = locked_seconds(host, 5)
    host.start(0)
    armed = locked_seconds(host, 2)
    pass_seconds(host, 3, True)
    before = host.board.pulses
    sending = locked_seconds(host, 30)
    return {
        "idle": idle,
        "armed": armed,
        "sending": sending,
        "pulses": host.board.pulses - before,
        "allocated": allocated(host),
    }


def locked_seconds(host, seconds):
    """Steps taken in so many seconds; a block of samples each 0.4 s. MemoryError on allocation."""
    steps = 0
    left_us = seconds * 1_000_000
    block_us = 400_000
    micropython.heap_lock()
    while left_us > 0:
        passed_us = host.step(block_us if block_us < left_us else left_us)
        left_us -= passed_us
        block_us -= passed_us
        if block_us <= 0:
            host.feel()
            block_us = 400_000
        steps += 1
    micropython.heap_unlock()
    return steps


def allocated(host):
    """Does the lock hold at all? The length of a list made under it, 0 when that is refused."""
    micropython.heap_lock()
    try:
        return len([host])
    except MemoryError:
        return 0
    finally:
        micropython.heap_unlock()


def main(mode, path):
    """Prints one line of JSON."""
    print(json.dumps((hour if mode == "hour" else locked)(path)))
