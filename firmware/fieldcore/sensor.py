"""What a board's sensors hand over, and the settings by which it is judged."""

from array import array

from fieldcore.compat import const

ACCELEROMETER = const(1)  # channel bits
PLATE = const(2)

# name, default, least, most; in this order a device keeps them. Plate travel is in 0.01 mm.
SETTINGS = (
    ("quiet_mg", 24, 8, 500),
    ("quiet_10um", 12, 4, 500),
    ("sharp_mg", 300, 50, 8000),
    ("sharp_ratio", 6, 1, 50),
    ("sharp_10um", 30, 1, 2000),
    ("dead_ms", 90, 20, 140),
    ("push_10um", 70, 10, 5000),
    ("push_hold_ms", 60, 20, 500),
    ("push_tilt_mg", 22, 4, 500),
    ("refractory_ms", 800, 100, 5000),
    ("repeat_ms", 10000, 100, 60000),
    ("clip_mg", 15900, 1000, 32000),
    ("sharp_percent", 35, 5, 95),
    ("dug_out_deg", 40, 15, 80),
)

_SHARP_MG = const(2)


def defaults(channels: int = ACCELEROMETER | PLATE) -> "list[int]":
    """The settings a device starts with, in the order of SETTINGS."""
    settings = [row[1] for row in SETTINGS]
    if not channels & PLATE:
        settings[_SHARP_MG] = 400  # nothing else tells a hit from a stop on ice beside the pack
    return settings


def check(settings: "list[int]") -> None:
    """Raise ValueError, naming the setting, when one is missing or out of its range."""
    for i, row in enumerate(SETTINGS):
        if len(settings) != len(SETTINGS) or not row[2] <= settings[i] <= row[3]:
            raise ValueError(row[0])


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
