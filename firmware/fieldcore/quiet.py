"""The quiet band: what every channel reads while nothing happens, followed slowly.

A frame inside the band costs four comparisons and nothing is allocated.
"""

from array import array

from fieldcore.compat import const

_QUIET_MG = const(0)  # places in fieldcore.sensor.SETTINGS
_QUIET_PLATE = const(1)
_SETTLE = const(16)  # frames


class Quiet:
    """`base` holds x, y, z and plate in 1/64 mg and 1/64 of 0.01 mm."""

    def __init__(self, settings: "list[int]") -> None:
        self._set = settings
        self.base = [0] * 4
        self._low = [0] * 4
        self._high = [0] * 4

    def band(self, channel: int) -> int:
        """Half the width of a channel's band, in its unit."""
        return self._set[_QUIET_PLATE if channel == 3 else _QUIET_MG]

    def rebase(self, channel: int, base: int) -> None:
        """Set a channel's baseline (1/64)."""
        self.base[channel] = base
        middle = (base + 32) >> 6
        self._low[channel] = middle - self.band(channel)
        self._high[channel] = middle + self.band(channel)

    def settle(self, frames: "array[int]", count: int, known: bool) -> None:
        """Baselines from the first frames; a channel that already shakes keeps one it has."""
        frames_used = min(_SETTLE, count)
        for channel in range(4):
            low = high = frames[channel]
            total = 0
            for k in range(frames_used):
                value = frames[channel + 4 * k]
                total += value
                low = min(low, value)
                high = max(high, value)
            if not known or high - low <= 2 * self.band(channel):
                self.rebase(channel, total * 64 // frames_used)

    def scan(self, frames: "array[int]", i: int, end: int) -> int:
        """Index of the first frame outside the band, or `end`. Called most, so kept flat."""
        low, high = self._low, self._high
        lx = low[0]
        hx = high[0]
        ly = low[1]
        hy = high[1]
        lz = low[2]
        hz = high[2]
        lp = low[3]
        hp = high[3]
        while i < end:
            if (
                lx <= frames[i] <= hx
                and ly <= frames[i + 1] <= hy
                and lz <= frames[i + 2] <= hz
                and lp <= frames[i + 3] <= hp
            ):
                i += 4
            else:
                return i
        return i

    def follow(self, frames: "array[int]", count: int) -> None:
        """Move the baselines by four frames of a quiet block: some 64 blocks to follow a change."""
        apart = (count >> 2) << 2
        if not apart:
            return
        for channel in range(4):
            total = 0
            for k in range(4):
                total += frames[channel + k * apart]
            base = self.base[channel]
            self.rebase(channel, base + ((total * 16 - base) >> 6))
