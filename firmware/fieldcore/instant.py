"""Instants of a device: (lap u8, ms u30, us 0-999), folded from a raw microsecond counter.

`ms` wraps every 2**30 ms (12.4 days) and `lap` counts those wraps (256 laps = 8.7 years).
Every intermediate value stays within a board's small integers (-2**30 .. 2**30 - 1), so
nothing here allocates except the tuples of `instant_of`, `later` and `split_us`.
"""

from fieldcore.compat import TICKS_MASK, const, ticks_diff

_MASK = const(0x3FFFFFFF)
_CAP_US = const(500_000_000)
_CAP_MS = const(500_000)
_FIRST_MS = const(300_000)


def diff_ms(ms_a: int, ms_b: int) -> int:
    """Milliseconds from b to a, in [-2**29, 2**29): right across a wrap, below 6.2 days."""
    return ticks_diff(ms_a, ms_b)


def diff_us(ms_a: int, us_a: int, ms_b: int, us_b: int) -> int:
    """Microseconds from b to a, right across a wrap of ms; saturates at +-500 s."""
    ahead = ticks_diff(ms_a, ms_b)
    if ahead > _CAP_MS:
        return _CAP_US
    if ahead < -_CAP_MS:
        return -_CAP_US
    return max(-_CAP_US, min(_CAP_US, ahead * 1000 + us_a - us_b))


def later(lap: int, ms: int, us: int, add_ms: int, add_us: int) -> tuple[int, int, int]:
    """The instant moved by add_ms + add_us; each may be negative, |add_ms| <= 2**29."""
    us += add_us
    add_ms += us // 1000
    us %= 1000
    if add_ms > _MASK - ms:
        # Never the plain sum: it would leave the small integers just at the wrap.
        return (lap + 1) & 0xFF, add_ms - (_MASK - ms) - 1, us
    if add_ms < -ms:
        return (lap - 1) & 0xFF, _MASK + (add_ms + ms) + 1, us
    return lap, ms + add_ms, us


def total_us(lap: int, ms: int, us: int) -> int:
    """The instant as one count of microseconds: for the host (leaves the small integers)."""
    return ((lap << 30) + ms) * 1000 + us


def split_us(total: int) -> tuple[int, int, int]:
    """The inverse of `total_us`, lap modulo 256: for the host."""
    ms, us = divmod(total, 1000)
    return (ms >> 30) & 0xFF, ms & TICKS_MASK, us


class Clock:
    """The present instant, `lap`, `ms` and `us`, advanced by readings of the raw counter.

    The first reading stands for five minutes after the clock's zero, so that everything
    `instant_of` can convert lies after zero.
    """

    def __init__(self) -> None:
        self.lap = 0
        self.ms = _FIRST_MS
        self.us = 0
        self._ticks = -1

    def start_at(self, lap: int, ms: int) -> None:
        """Set the present instant: for tests near a wrap."""
        self.lap = lap
        self.ms = ms
        self.us = 0

    def advance(self, ticks_us: int) -> None:
        """Move to the raw u30 counter's reading; wants one at least every 5 min.

        A reading older than the last one (a late block, an interrupt's stamp) changes nothing.
        """
        if self._ticks < 0:
            self._ticks = ticks_us
            return
        step = ticks_diff(ticks_us, self._ticks)
        if step <= 0:
            return
        self._ticks = ticks_us
        step += self.us
        self.us = step % 1000
        step //= 1000
        room = _MASK - self.ms
        if step > room:
            self.ms = step - room - 1
            self.lap = (self.lap + 1) & 0xFF
        else:
            self.ms += step

    def instant_of(self, ticks_us: int) -> tuple[int, int, int]:
        """The instant of a raw reading at most 5 min before or 1 min after the last one."""
        if self._ticks < 0:
            self._ticks = ticks_us
        return later(self.lap, self.ms, self.us, 0, ticks_diff(ticks_us, self._ticks))
