"""Made from the host's message table by `python -m blindfield.model.generate`."""

from fieldcore.compat import const

MAJOR = const(1)
MINOR = const(0)
SHEET_BYTES = const(192)
MAX_CUES = const(8)
MAX_SLOTS = const(8)
RUN_CAP_MS = const(1200000)
PERIOD_MIN_US = const(700000)
PERIOD_MAX_US = const(1300000)
ON_MIN_US = const(75000)
ON_MAX_US = const(100000)
OFF_MIN_US = const(400000)
LEASE_MIN_MS = const(5000)
LEASE_MAX_MS = const(1200000)

HELLO = const(1)
HELLO_IS = const(2)
OPEN = const(3)
OPENED = const(4)
SILENCE = const(5)
REFUSED = const(6)
HAVE_DATA = const(7)
REQUEST = const(8)
REPLY = const(9)
STATUS = const(16)
STATUS_IS = const(17)
CLOCK = const(18)
CLOCK_IS = const(19)
LOAD = const(20)
COMMIT = const(21)
COMMITTED = const(22)
START = const(23)
CANCEL = const(24)
END = const(25)
WORD = const(26)
CLEAR = const(27)
FETCH = const(28)
RECORDS = const(29)
REARM = const(30)
SETTINGS = const(31)
SETTINGS_ARE = const(32)
SET_SETTING = const(33)
TIDY = const(34)
REVISE = const(35)
SOUND = const(36)
DONE = const(63)

NO_UNKNOWN = const(1)
NO_MALFORMED = const(2)
NO_NO_KEY = const(3)
NO_BAD_TAG = const(4)
NO_STALE = const(5)
NO_NO_OPENING = const(6)
NO_LATCHED = const(7)
NO_SILENCE_COUNT = const(8)
NO_SLOT = const(9)
NO_DIGEST = const(10)
NO_OTHER_DEVICE = const(11)
NO_KEYING = const(12)
NO_PAST = const(13)
NO_TOO_LONG = const(14)
NO_CONTRADICTORY = const(15)
NO_JOURNAL_FULL = const(16)
NO_BUSY = const(17)
NO_BATTERY = const(18)
NO_REVISION = const(19)
NO_VALUE = const(20)
NO_RUN = const(21)

EVENT_BOOT = const(1)
EVENT_STRIKE = const(2)
EVENT_DUG_OUT = const(3)
EVENT_KNOCK = const(4)
EVENT_SILENCED = const(5)
EVENT_REARMED = const(6)
EVENT_STARTED = const(7)
EVENT_SENDS = const(8)
EVENT_RESTS = const(9)
EVENT_ENDED = const(10)
EVENT_GAP = const(11)

END_SHEET = const(1)
END_CAP = const(2)
END_LEASE = const(3)
END_TOLD = const(4)
END_SILENCE = const(5)
END_CANCELLED = const(6)

BY_FRAME = const(1)
BY_AIR = const(2)
BY_KNOCK = const(3)
BY_BUTTON = const(4)

CUE_AT = const(1)
CUE_ON_MY_STRIKE = const(2)
CUE_ON_MY_DUG_OUT = const(3)
CUE_ON_WORD = const(4)

SHAPES = {
    1: "BB",
    2: "BB8Bss8C",
    3: "C8",
    4: "8",
    5: "",
    6: "BB",
    7: "",
    8: "Lx8",
    9: "Lx8",
    16: "",
    17: "LBMHHH?BBB?LLLLHH",
    18: "",
    19: "LBMH",
    20: "BHx",
    21: "B8H",
    22: "B8",
    23: "BBMHLH",
    24: "B",
    25: "B",
    26: "8BH",
    27: "B",
    28: "LL",
    29: "LLx",
    30: "H",
    31: "",
    32: "x",
    33: "Bi",
    34: "",
    35: "B?H",
    36: "BBMH",
    63: "",
}
