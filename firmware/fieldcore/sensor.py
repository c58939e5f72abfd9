"""What a board's sensors hand over, and the settings by which it is judged."""

from array import array

from fieldcore.compat import const

ACCELEROMETER = const(1)  # channel bits
PLATE = const(2)

# In the order of the host's `blindfield.model.settings`, which has their names.
# made by blindfield.model.generate
_DEFAULTS = (24, 12, 300, 6, 30, 90, 70, 60, 22, 800, 10000, 15900, 35, 40, 4000, 1000, 80)
_LEAST = (8, 4, 50, 1, 1, 20, 10, 20, 4, 100, 100, 1000, 5, 15, 0, 200, 20)
_MOST = (500, 500, 8000, 50, 2000, 140, 5000, 500, 500, 5000, 60000, 32000, 95, 80, 9000, 5000, 500)
# end of what is made

_SHARP_MG = const(2)


def defaults(channels: int = ACCELEROMETER | PLATE) -> "list[int]":
    """The settings a device starts with."""
    settings = list(_DEFAULTS)
    if not channels & PLATE:
        settings[_SHARP_MG] = 400  # nothing else tells a hit from a stop on ice beside the pack
    return settings


def check(settings: "list[int]") -> None:
    """Raise ValueError, with the place of the setting, when one is missing or out of its range."""
    for i in range(len(_DEFAULTS)):
        if len(settings) != len(_DEFAULTS) or not _LEAST[i] <= settings[i] <= _MOST[i]:
            raise ValueError(i)


class Block:
    """Samples of one stretch of time.

    `frames` holds x, y, z (mg) and plate (0.01 mm) of `count` frames, `period_us` apart (625 to
    1250); `first_us` is the raw 30-bit microsecond tick of the first.
    """

    def __init__(self, capacity: int = 64) -> None:
        self.frames = array("h", bytes(8 * capacity))
        self.count = 0
        self.first_us = 0
        self.period_us = 1250
