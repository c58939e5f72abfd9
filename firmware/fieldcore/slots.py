"""The shelf of cue sheets: as many bytes as they need, held from the start."""

from fieldcore import sheet as sheets
from fieldcore.compat import const
from fieldcore.message import Refusal

# made by blindfield.model.generate
_SHEET_BYTES = const(192)
_MAX_SLOTS = const(8)
_NO_SLOT = const(9)
_NO_DIGEST = const(10)
_NO_VALUE = const(20)
# end of what is made

_EMPTY = const(0)
_WHOLE = const(1)
_SPENT = const(2)


class Slots:
    """MAX_SLOTS places for one sheet each."""

    def __init__(self) -> None:
        self._data = bytearray(_MAX_SLOTS * _SHEET_BYTES)
        self._filled = [0] * _MAX_SLOTS
        self._state = bytearray(_MAX_SLOTS)

    def put(self, slot: int, offset: int, part: bytes) -> None:
        """Store a part; parts come in order. Offset 0 empties the slot first. Raises Refusal."""
        self._check(slot)
        if offset == 0:
            self.clear(slot)
        end = offset + len(part)
        if offset > self._filled[slot] or end > _SHEET_BYTES or self._state[slot] != _EMPTY:
            raise Refusal(_NO_VALUE)
        base = slot * _SHEET_BYTES
        self._data[base + offset : base + end] = part
        self._filled[slot] = end

    def commit(self, slot: int, digest: bytes, device_id: bytes) -> bytes:
        """Check the whole sheet; its digest. Raises Refusal."""
        self._check(slot)
        data = self._bytes(slot)
        if self._filled[slot] != _SHEET_BYTES or sheets.digest(data) != digest:
            raise Refusal(_NO_DIGEST)
        sheets.read(data, device_id)
        if self._state[slot] == _EMPTY:
            self._state[slot] = _WHOLE
        return sheets.digest(data)

    def take(self, slot: int, device_id: bytes) -> "sheets.Sheet":
        """The sheet of a slot that was committed and has not run. Raises Refusal."""
        self._check(slot)
        if self._state[slot] != _WHOLE:
            raise Refusal(_NO_SLOT)
        return sheets.read(self._bytes(slot), device_id)

    def spend(self, slot: int) -> None:
        """This sheet has run: it never starts again."""
        self._state[slot] = _SPENT

    def clear(self, slot: int) -> None:
        self._check(slot)
        self._filled[slot] = 0
        self._state[slot] = _EMPTY

    def _bytes(self, slot: int) -> bytes:
        base = slot * _SHEET_BYTES
        return bytes(self._data[base : base + _SHEET_BYTES])

    def _check(self, slot: int) -> None:
        if slot >= _MAX_SLOTS:
            raise Refusal(_NO_SLOT)
