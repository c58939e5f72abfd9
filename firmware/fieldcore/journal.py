"""The device's durable memory: 32-byte records in a ring of pages, erased only between runs.

Each page opens with a header record that repeats what must outlive an erase: the journal's id, the
next sequence number, the clock id and the silence latch. So the newest page alone tells the whole
state, and any older page may be erased once the host has its records.

    header  kind u8 (0xB5), latched u8, silence_count u16, page_sequence u32, journal_id u32,
            clock_id u32, next_seq u32, 8 bytes zero, crc32 u32
    record  kind u8, flags u8, lap u8, 0, seq u32, clock_id u32, ms u32, us u16, run_tag u16,
            payload 8 bytes, crc32 u32          (little-endian; the CRC is over the first 28 bytes)

BOOT, SILENCED and REARMED share a payload: silence_count u16, latched u8, and for BOOT also
cause u8, journal_id u32. A slot that is neither blank nor valid was torn by a power cut: skipped.
"""

import struct
from array import array

from fieldcore.compat import TICKS_MASK, const, crc32

TYPE_CHECKING = const(0)  # the type checker knows the name; a device has no `typing`
if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Protocol

    class Store(Protocol):
        """A raw region: bytes are written once after an erase, which sets a page to 0xFF."""

        page_size: int
        pages: int

        def read_into(self, offset: int, buf: bytearray) -> None: ...
        def write(self, offset: int, data: bytearray) -> None: ...
        def erase(self, page: int) -> None: ...


# made by blindfield.model.generate
_EVENT_BOOT = const(1)
_EVENT_SILENCED = const(5)
_EVENT_REARMED = const(6)
# end of what is made

RECORD = const(32)
RESERVE = const(8)  # slots that only boots, silences and re-arms may use
_HEADER = const(0xB5)
_CRC_RESIDUE = const(0x2144DF1C)
_CLOCK_LEAP = const(0x10000)
_BLANK = b"\xff" * 32


class Journal:
    """Call `mount()` before anything else. `acked_seq` lives in RAM: after a boot the host is
    asked again, and gives the same answer for the same (device, journal_id, seq).
    """

    def __init__(self, store: "Store", random: "Callable[[int], bytes]") -> None:
        self.journal_id = 0
        self.clock_id = 0
        self.silence_count = 0
        self.latched = False
        self.last_seq = 0
        self.acked_seq = 0
        self._store = store
        self._random = random
        self._slots = store.page_size // RECORD
        self._last = array("I", [0] * store.pages)  # highest seq in each page, 0 for none
        self._tail = array("H", [0] * store.pages)  # slots from here on are blank
        self._page = 0
        self._page_sequence = 0
        self._clock_floor = 0  # no clock id up to here may be used again
        self._free = 0
        self._record = bytearray(RECORD)
        self._summed = memoryview(self._record)[: RECORD - 4]
        self._cursor_seq = -1
        self._cursor_page = 0
        self._cursor_slot = 0

    # Boot

    def mount(self, cause: int = 0) -> None:
        """Finds the state, formats a region that holds no journal, and begins a new clock."""
        torn = self._scan()
        if torn < 0:
            self._format()
        elif torn or self._tail[self._page] >= self._slots:
            self._suspect(torn)
        if not self.journal_id:
            self.journal_id = self._draw_id()
        self._free = self._count_free()
        self.renew_clock(cause)

    def renew_clock(self, cause: int = 0) -> None:
        """A new `clock_id`, durable before use: at boot, and after a sleep that stopped the ticks.

        Without a slot left for it the id is drawn from the next 65536 instead: it may then repeat
        (once in 65536 boots), but no record can carry it, since there is no room for one.
        """
        self.clock_id = self._clock_floor + 1
        payload = struct.pack("<HBBI", self.silence_count, self.latched, cause, self.journal_id)
        if self.append(_EVENT_BOOT, 0, 0, 0, 0, 0, payload):
            self._clock_floor = self.clock_id
            return
        self.clock_id += struct.unpack("<H", self._random(2))[0]
        self._clock_floor += _CLOCK_LEAP

    def _suspect(self, torn: int) -> None:
        """Torn slots after the newest record may have held anything. A full newest page (normally
        the next is opened at once) had no room left: silences and clock ids may be unrecorded.
        Be on the safe side: latched, and no number used again.
        """
        self.set_silence(self.silence_count + 1, True)
        self.last_seq += torn
        self._clock_floor += torn
        page = self._next(self._page)
        tail = self._tail[page]
        if self._tail[self._page] < self._slots or self._last[page] or tail >= self._slots:
            return
        self._clock_floor += _CLOCK_LEAP
        self.last_seq += tail
        if tail:
            self._page = page  # its header was torn, the rest of it is good
        else:
            self._open_next()

    def _format(self) -> None:
        for page in range(self._store.pages):
            if self._tail[page]:
                self._store.erase(page)
                self._tail[page] = 0
        self.journal_id = self._draw_id()
        self._page = self._store.pages - 1
        self._open_next()

    def _draw_id(self) -> int:
        return (struct.unpack("<I", self._random(4))[0] & TICKS_MASK) or 1

    def _scan(self) -> int:
        """Reads every slot once; how many bad ones follow the newest good one, -1 if none is."""
        newest = (0, 0)
        state_order = 0
        for page in range(self._store.pages):
            for slot in range(self._slots):
                self._load(page, slot)
                if self._record == _BLANK:
                    continue
                self._tail[page] = slot + 1
                if crc32(self._record) != _CRC_RESIDUE:
                    continue
                order = self._learn(page, state_order)
                state_order = max(order, state_order)
                if order > newest[0]:
                    newest = (order, slot)
                    self._page = page
        return self._tail[self._page] - 1 - newest[1] if state_order else -1

    def _learn(self, page: int, state_order: int) -> int:
        """Takes what one valid slot tells. A header sorts just before the record it announces."""
        kind = self._record[0]
        if kind == _HEADER:
            _, latched, count, sequence, journal_id, clock_id, seq = struct.unpack_from(
                "<BBHIIII", self._record
            )
            order: int = 2 * seq - 1
            self._page_sequence = max(self._page_sequence, sequence)
            self.last_seq = max(self.last_seq, seq - 1)
        else:
            seq, clock_id = struct.unpack_from("<II", self._record, 4)
            count, latched, _, journal_id = struct.unpack_from("<HBBI", self._record, 20)
            order = 2 * seq
            self._last[page] = max(self._last[page], seq)
            self.last_seq = max(self.last_seq, seq)
        self._clock_floor = max(self._clock_floor, clock_id)
        if order >= state_order and kind in (_HEADER, _EVENT_BOOT, _EVENT_SILENCED, _EVENT_REARMED):
            self.set_silence(count, latched)
            if kind in (_HEADER, _EVENT_BOOT):
                self.journal_id = journal_id
        return order

    # Writing

    def append(
        self, kind: int, flags: int, lap: int, ms: int, us: int, run_tag: int, payload: bytes
    ) -> int:
        """The new record's sequence number once it is durable, or 0 when the journal is full.

        Allocates nothing (but, on 32-bit boards, the CRC's own number) and never erases.
        """
        always = kind in (_EVENT_BOOT, _EVENT_SILENCED, _EVENT_REARMED)
        if self._free <= (0 if always else RESERVE):
            return 0
        page = self._page
        slot = self._tail[page]
        seq = self.last_seq + 1
        struct.pack_into(
            "<BBBBIIIHH8s", self._record, 0,
            kind, flags, lap, 0, seq, self.clock_id, ms, us, run_tag, payload,
        )  # fmt: skip
        self._save(page, slot)
        self.last_seq = seq
        self._last[page] = seq
        self._free -= 1
        if kind in (_EVENT_SILENCED, _EVENT_REARMED):
            self.set_silence(payload[0] | payload[1] << 8, payload[2])
        if slot + 1 == self._slots and not self._tail[self._next(page)]:
            self._open_next()
        return seq

    def set_silence(self, count: int, latched: "bool | int") -> None:
        """The state the next page header carries; records of silence and re-arming set it too."""
        self.silence_count = count & 0xFFFF
        self.latched = latched != 0

    def _open_next(self) -> None:
        self._page = self._next(self._page)
        self._page_sequence += 1
        struct.pack_into(
            "<BBHIIIIII", self._record, 0,
            _HEADER, 1 if self.latched else 0, self.silence_count, self._page_sequence,
            self.journal_id, max(self._clock_floor, self.clock_id), self.last_seq + 1, 0, 0,
        )  # fmt: skip
        self._save(self._page, 0)

    def _save(self, page: int, slot: int) -> None:
        struct.pack_into("<I", self._record, RECORD - 4, crc32(self._summed))
        self._store.write(page * self._store.page_size + slot * RECORD, self._record)
        self._tail[page] = slot + 1

    # Reading and giving up

    def read_into(self, seq_after: int, buf: "bytearray | memoryview", max_records: int) -> int:
        """Copies whole records with seq > `seq_after` into `buf`, in order; how many.

        Going on where the last call ended costs only the slots read.
        """
        if seq_after != self._cursor_seq:
            self._seek(seq_after)
        page = self._cursor_page
        slot = self._cursor_slot
        count = 0
        while count < min(max_records, len(buf) // RECORD):
            if slot >= self._tail[page]:
                if page == self._page:
                    break
                page = self._next(page)
                slot = 0
                continue
            self._load(page, slot)
            slot += 1
            if crc32(self._record) == _CRC_RESIDUE and self._record[0] != _HEADER:
                seq = struct.unpack_from("<I", self._record, 4)[0]
                if seq > seq_after:
                    buf[count * RECORD : (count + 1) * RECORD] = self._record
                    count += 1
                    seq_after = seq
        self._cursor_seq = seq_after
        self._cursor_page = page
        self._cursor_slot = slot
        return count

    def ack(self, journal_id: int, seq: int) -> bool:
        """Everything up to `seq` is safe on the host. False: another journal, or no such seq."""
        if journal_id != self.journal_id or not 0 <= seq <= self.last_seq:
            return False
        self.acked_seq = max(self.acked_seq, seq)
        return True

    def free(self) -> int:
        """Ordinary records that can still be appended (the reserve left out)."""
        return max(0, self._free - RESERVE)

    def tidy(self) -> int:
        """Erases the pages whose records are all acknowledged; how many. Only between runs."""
        erased = 0
        page = self._page
        for _ in range(self._store.pages - 1):
            page = self._next(page)
            if not self._tail[page]:
                continue
            if self._last[page] > self.acked_seq:
                break
            self._store.erase(page)
            self._last[page] = self._tail[page] = 0
            erased += 1
            if self._tail[self._page] >= self._slots:
                self._open_next()
        self._cursor_seq = -1
        self._free = self._count_free()
        return erased

    def _seek(self, seq_after: int) -> None:
        page = self._next(self._page)
        while page != self._page and self._last[page] <= seq_after:
            page = self._next(page)
        self._cursor_page = page
        self._cursor_slot = 0

    def _load(self, page: int, slot: int) -> None:
        self._store.read_into(page * self._store.page_size + slot * RECORD, self._record)

    def _next(self, page: int) -> int:
        return (page + 1) % self._store.pages

    def _count_free(self) -> int:
        free = self._slots - self._tail[self._page]
        page = self._next(self._page)
        while page != self._page and not self._tail[page]:
            free += self._slots - 1
            page = self._next(page)
        return free
