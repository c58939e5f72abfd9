"""A cue sheet: all that one device does in one run, in bytes of one fixed size.

CBOR array, padded to SHEET_BYTES by its last element:
[device_id, run_id, revision, period_us, on_us, phase_us, lease_ms, end_ms, cues, padding];
a cue is [trigger, time_ms, word, sends]: `time_ms` is the run time of an `at`, the delay after a
strike or dug-out event, or the else of an `on_word` (-1: else never).
"""

from fieldcore import cbor
from fieldcore.compat import const, sha256
from fieldcore.message import Refusal, is_int

TYPE_CHECKING = const(0)
if TYPE_CHECKING:
    from typing import Any

# made by blindfield.model.generate
_SHEET_BYTES = const(192)
_MAX_CUES = const(8)
_RUN_CAP_MS = const(1200000)
_PERIOD_MIN_US = const(700000)
_PERIOD_MAX_US = const(1300000)
_ON_MIN_US = const(75000)
_ON_MAX_US = const(100000)
_OFF_MIN_US = const(400000)
_LEASE_MIN_MS = const(5000)
_LEASE_MAX_MS = const(1200000)
_NO_MALFORMED = const(2)
_NO_OTHER_DEVICE = const(11)
_NO_KEYING = const(12)
_NO_TOO_LONG = const(14)
_NO_CONTRADICTORY = const(15)
_NO_REVISION = const(19)
_NO_VALUE = const(20)
_CUE_AT = const(1)
_CUE_ON_WORD = const(4)
# end of what is made

ELSE_NEVER = -1


class Sheet:
    """A sheet as read. Fields as in the module's docstring."""

    def __init__(self, fields: "list[Any]") -> None:
        self.device_id = fields[0]
        self.run_id = fields[1]
        self.revision = fields[2]
        self.period_us = fields[3]
        self.on_us = fields[4]
        self.phase_us = fields[5]
        self.lease_ms = fields[6]
        self.end_ms = fields[7]
        self.cues = fields[8]

    def train(self) -> "tuple[int, int, int]":
        """Period, length and phase of its pulses, us."""
        return self.period_us, self.on_us, self.phase_us


def digest(data: bytes) -> bytes:
    """First 8 bytes of SHA-256 of the stored bytes."""
    return sha256(data)[:8]


def write(sheet: Sheet) -> bytes:
    """The bytes of a sheet. Raises ValueError when its cues do not fit."""
    fields = [
        sheet.device_id,
        sheet.run_id,
        sheet.revision,
        sheet.period_us,
        sheet.on_us,
        sheet.phase_us,
        sheet.lease_ms,
        sheet.end_ms,
        sheet.cues,
    ]
    bare = len(cbor.dumps(fields + [b""]))
    for head in (0, 1, 2):  # a byte string's head grows with its length
        room = _SHEET_BYTES - bare - head
        if room >= 0:
            data = cbor.dumps(fields + [bytes(room)])
            if len(data) == _SHEET_BYTES:
                return data
    raise ValueError("sheet too long")


def read(data: bytes, device_id: bytes) -> Sheet:
    """The sheet in `data`. Raises Refusal when it may not run on this device."""
    try:
        fields = cbor.loads(data)
    except ValueError:
        raise Refusal(_NO_MALFORMED)
    if len(data) != _SHEET_BYTES or not _well_formed(fields):
        raise Refusal(_NO_MALFORMED)
    sheet = Sheet(fields)
    if sheet.device_id != device_id:
        raise Refusal(_NO_OTHER_DEVICE)
    check_keying(sheet.period_us, sheet.on_us, sheet.phase_us)
    _check_times(sheet)
    _check_cues(sheet)
    return sheet


def check_keying(period_us: int, on_us: int, phase_us: int) -> None:
    """Raises Refusal(NO_KEYING) outside the safe set of EN 300 718 and EN 282 together.

    On 75-100 ms, off >= 400 ms, period 700-1300 ms: satisfies every figure quoted for the two.
    """
    if not (
        _PERIOD_MIN_US <= period_us <= _PERIOD_MAX_US
        and _ON_MIN_US <= on_us <= _ON_MAX_US
        and period_us - on_us >= _OFF_MIN_US
        and 0 <= phase_us < period_us
    ):
        raise Refusal(_NO_KEYING)


def _well_formed(fields: "Any") -> bool:
    if not isinstance(fields, list) or len(fields) != 10:
        return False
    if not (isinstance(fields[8], list) and isinstance(fields[9], bytes)):
        return False
    for place in (0, 1):
        if not isinstance(fields[place], bytes) or len(fields[place]) != 8:
            return False
    return all(_is_int(value) for value in fields[2:8]) and all(_is_cue(cue) for cue in fields[8])


def _is_cue(cue: "Any") -> bool:
    return (
        isinstance(cue, list)
        and len(cue) == 4
        and all(_is_int(value) for value in cue[:3])
        and isinstance(cue[3], bool)
    )


def _is_int(value: "Any") -> bool:
    return is_int(value) and -1 <= value <= _RUN_CAP_MS * 2


def _check_times(sheet: Sheet) -> None:
    if not 0 < sheet.end_ms <= _RUN_CAP_MS:
        raise Refusal(_NO_TOO_LONG)
    if not _LEASE_MIN_MS <= sheet.lease_ms <= _LEASE_MAX_MS:
        raise Refusal(_NO_VALUE)
    if not 1 <= sheet.revision <= 255:
        raise Refusal(_NO_REVISION)


def _check_cues(sheet: Sheet) -> None:
    if len(sheet.cues) > _MAX_CUES:
        raise Refusal(_NO_MALFORMED)
    at: dict[int, bool] = {}
    for trigger, time_ms, word, sends in sheet.cues:
        if not _CUE_AT <= trigger <= _CUE_ON_WORD:
            raise Refusal(_NO_MALFORMED)
        if trigger != _CUE_ON_WORD and (time_ms < 0 or word != 0):
            raise Refusal(_NO_CONTRADICTORY)
        if time_ms > sheet.end_ms or not 0 <= word <= 255:
            raise Refusal(_NO_CONTRADICTORY)
        if trigger == _CUE_AT and at.get(time_ms, sends) != sends:
            raise Refusal(_NO_CONTRADICTORY)
        at[time_ms if trigger == _CUE_AT else -1] = sends
