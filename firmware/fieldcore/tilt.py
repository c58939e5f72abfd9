"""Dug out: a target that lies otherwise than it was buried for a second has been lifted.

Gravity is what remains of acceleration after 0.4 s of smoothing, so strikes and steps do not count.
Its direction is compared with a reference taken when the target lay still; after 30 s of stillness
(put back, or settling snow) the direction then becomes the reference, and a new lift is told again.
"""

from fieldcore.compat import const, ticks_diff
from fieldcore.sensor import Block

_SMOOTH_MS = const(400)
_TURNED_MS = const(1000)
_SETTLE_MS = const(30_000)
_STILL_MG = const(40)
_LIMIT_MG = const(1500)  # keeps every product below within 30 bits
_SAMPLES = const(8)  # frames of a block that are looked at


class TiltDetector:
    """Feed every block of samples; sleeping between blocks counts as stillness.

    `turned` says whether the target lies turned now.
    `dug_out_deg` is the setting of fieldcore.strike, from 15 to 80.
    """

    def __init__(self, dug_out_deg: int = 40) -> None:
        # Bhaskara's cosine, good to 0.002 (quoted from memory, pinned by a test); in 1/256
        square = dug_out_deg * dug_out_deg
        cosine = (32400 - 4 * square) * 256 // (32400 + square)
        self._cos2 = cosine * cosine >> 8
        self._gravity = [0] * 3  # 1/16 mg
        self._reference = [0] * 3
        self._known = False
        self._told = self.turned = False
        self._turned_ms = self._still_ms = self._last_us = 0

    def feed(self, block: Block) -> bool:
        """True once when the target is found dug out."""
        if not block.count:
            return False
        span_ms = max(1, block.count * block.period_us // 1000)
        passed_us = ticks_diff(block.first_us, self._last_us)
        self._last_us = block.first_us
        if not self._known:
            self._known = True
            self._smooth(block, 1_000_000)
            self._settle()
        if self._smooth(block, span_ms):
            # negative: more than half the circle, minutes
            passed_ms = _SETTLE_MS if passed_us < 0 else max(span_ms, passed_us // 1000)
            self._still_ms = min(_SETTLE_MS, self._still_ms + passed_ms)
        else:
            self._still_ms = 0
        return self._watch(span_ms)

    def _watch(self, span_ms: int) -> bool:
        self.turned = self._is_turned()
        self._turned_ms = min(_TURNED_MS, self._turned_ms + span_ms) if self.turned else 0
        if self._turned_ms >= _TURNED_MS and not self._told:
            self._told = True
            return True
        if self._still_ms >= _SETTLE_MS:
            self._settle()
        return False

    def _settle(self) -> None:
        for axis in range(3):
            self._reference[axis] = self._gravity[axis]
        self._told = False
        self._still_ms = self._turned_ms = 0

    def _smooth(self, block: Block, span_ms: int) -> bool:
        """Move gravity on by a block's mean; whether the block agrees with it."""
        samples = min(_SAMPLES, block.count)
        step = block.count // samples * 4
        still = True
        for axis in range(3):
            total = 0
            for k in range(samples):
                total += max(-_LIMIT_MG, min(_LIMIT_MG, block.frames[axis + k * step]))
            away = total * 16 // samples - self._gravity[axis]
            if abs(away) > 16 * _STILL_MG:
                still = False
            self._gravity[axis] += away * span_ms // (_SMOOTH_MS + span_ms)
        return still

    def _is_turned(self) -> bool:
        """Is the angle to the reference larger than set? (g.r)^2 < g^2 r^2 cos^2, in 16 mg."""
        along = square = length = 0
        for axis in range(3):
            value = self._gravity[axis] >> 8
            other = self._reference[axis] >> 8
            along += value * other
            square += value * value
            length += other * other
        return along <= 0 or along * along < square * length // 256 * self._cos2
