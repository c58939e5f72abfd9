"""Pulse trains on one carrier: when they overlap, for how long, and what a receiver makes of it.

A train is a period, a pulse width and a phase: pulses start at phase_s + k period_s and last on_s.
Arrays (..., k) hold k senders and broadcast over problems. Times are seconds on one clock.
"""

from __future__ import annotations

import math

import numpy as np

from blindfield.physics.arrays import Bools, Floats, Ints

CLEAN_PULSES = 2  # ours: two clean pulses show a sender and its period


def overlap_probability(senders: int, on_s: float, period_s: float) -> float:
    """Chance that any two of n equal pulses w overlap, at one period T: 1 - (1 - n w/T)^(n-1).

    Phases uniform and independent; derived (points on a circle with gaps of at least w each). 1 as
    soon as n w >= T. Raises ValueError for impossible trains or fewer than one sender.
    """
    check_train(period_s, on_s)
    if senders < 1:
        raise ValueError("an overlap is asked of one sender or more")
    room = max(0.0, 1.0 - senders * on_s / period_s)
    return 1.0 - room ** (senders - 1)


def overlapped_share(first_on_s: float, second_on_s: float, period_s: float) -> float:
    """Share of two senders' time, in the long run, in which their pulses touch: (w1 + w2) / T.

    The chance at a random period that the two pulses of that period overlap; derived. At most 1.
    """
    check_train(period_s, max(first_on_s, second_on_s))
    return min(1.0, (first_on_s + second_on_s) / period_s)


def beat_s(first_period_s: float, second_period_s: float) -> float:
    """Time in seconds after which two senders' pulses meet again: T1 T2 / |T1 - T2|; derived.

    inf for equal periods: they never drift. Raises ValueError for a period that is not above zero.
    """
    check_train(first_period_s, 0.0)
    check_train(second_period_s, 0.0)
    apart_s = abs(first_period_s - second_period_s)
    return first_period_s * second_period_s / apart_s if apart_s else math.inf


def episode_s(
    first_period_s: float, second_period_s: float, first_on_s: float, second_on_s: float
) -> float:
    """How long two senders stay overlapped when their pulses meet: (w1 + w2) T / |T1 - T2|.

    Derived, with T = sqrt(T1 T2): the overlapped share of a beat, which comes in one piece since
    the pulses slide through each other once. inf for equal periods.
    """
    period_s = math.sqrt(first_period_s * second_period_s)
    share = overlapped_share(first_on_s, second_on_s, period_s)
    return share * beat_s(first_period_s, second_period_s)


def clean_pulses(
    period_s: Floats,
    on_s: Floats,
    phase_s: Floats,
    *,
    start_s: float | Floats = 0.0,
    window_s: float,
    resolution_s: float = 0.0,
    against: Bools | None = None,
) -> tuple[Ints, Ints]:
    """Clean pulses and all pulses (..., k) of each sender that begin within a window.

    The window runs from `start_s` (scalar or (...)) for `window_s`. A pulse is clean when no pulse
    of another sender is on from `resolution_s` before it until `resolution_s` after it. `against`
    (..., k, k), [i, j]: whether sender j counts against sender i; None: every other one does.
    A kernel: `check_train` and `check_receiver` are its checks.
    """
    period_s, on_s, phase_s = np.broadcast_arrays(period_s, on_s, phase_s)
    begin_s, inside = _beginnings(period_s, phase_s, np.asarray(start_s, dtype=float), window_s)
    disturbed = np.zeros(begin_s.shape, dtype=bool)
    reach_s = on_s + resolution_s
    for other in range(period_s.shape[-1]):
        turn_s = period_s[..., other, None, None]
        after_s = begin_s - phase_s[..., other, None, None]
        after_s -= turn_s * np.floor(after_s / turn_s)  # several times faster than %
        clear = (after_s >= reach_s[..., other, None, None]) & (
            after_s + reach_s[..., None] <= turn_s
        )
        counts = _others(other, against, period_s.shape[-1])
        disturbed = disturbed | (~clear & counts[..., None])
    return np.sum(inside & ~disturbed, axis=-1), np.sum(inside, axis=-1)


def separable(
    period_s: Floats,
    on_s: Floats,
    phase_s: Floats,
    *,
    start_s: float | Floats = 0.0,
    window_s: float,
    resolution_s: float = 0.0,
    heard: Bools | None = None,
    needed: int = CLEAN_PULSES,
) -> Bools:
    """Whether a pulse-separating receiver tells each sender (..., k) apart within the window.

    A sender that is `heard` (None: all are) is told apart when at least `needed` of its pulses are
    clean of every other heard sender's, with `resolution_s` between them. The rule and its figures
    are ours: no maker's method was at hand. A kernel, as `clean_pulses`.
    """
    against = None if heard is None else np.asarray(heard)[..., None, :]
    clean, _ = clean_pulses(
        period_s,
        on_s,
        phase_s,
        start_s=start_s,
        window_s=window_s,
        resolution_s=resolution_s,
        against=against,
    )
    told: Bools = clean >= needed
    return told if heard is None else told & heard


def marking_holds(
    period_s: Floats,
    on_s: Floats,
    phase_s: Floats,
    marked: Bools,
    *,
    start_s: float | Floats = 0.0,
    window_s: float,
    resolution_s: float = 0.0,
    heard: Bools | None = None,
    needed: int = CLEAN_PULSES,
) -> Bools:
    """Whether marking serves each sender (..., k): the marked ones hidden, this one still shown.

    Marking hides the pulses of the `marked` senders (..., k). It fails a sender that is heard and
    not marked when fewer than `needed` of its pulses in the window are clean of the marked ones:
    hiding those hides it too, or brings a marked one back. True for senders marked or not heard.
    The rule is ours, from the common account that marking fails on strongly overlapped signals.
    """
    hides = np.asarray(marked) if heard is None else marked & heard
    clean, _ = clean_pulses(
        period_s,
        on_s,
        phase_s,
        start_s=start_s,
        window_s=window_s,
        resolution_s=resolution_s,
        against=hides[..., None, :],
    )
    holds: Bools = (clean >= needed) | marked
    return holds if heard is None else holds | ~heard


def check_train(period_s: float, on_s: float) -> None:
    """Raises ValueError unless a pulse of `on_s` (zero or more) fits a period above zero."""
    if not (math.isfinite(period_s) and period_s > 0):
        raise ValueError("a pulse train needs a period above zero")
    if not 0 <= on_s <= period_s:
        raise ValueError("a pulse lasts from zero to its whole period")


def check_receiver(resolution_s: float, window_s: float, period_s: float, on_s: float) -> None:
    """Raises ValueError when a receiver of this resolution could never tell two senders apart.

    That is, when the resolution is below zero, when two pulses `on_s` with the resolution between
    and after them do not fit one `period_s`, or when the window is not finite or shorter than the
    `CLEAN_PULSES` periods that it takes.
    """
    check_train(period_s, on_s)
    if not resolution_s >= 0:
        raise ValueError("a receiver's pulse resolution is a time of zero or more")
    if 2.0 * (on_s + resolution_s) > period_s:
        raise ValueError(
            f"no two senders stand {resolution_s:g} s apart at pulses of {on_s:g} s"
            f" in a period of {period_s:g} s"
        )
    if not (math.isfinite(window_s) and window_s >= CLEAN_PULSES * period_s):
        raise ValueError(f"a receiver must watch for {CLEAN_PULSES} periods or more")


def _beginnings(
    period_s: Floats, phase_s: Floats, start_s: Floats, window_s: float
) -> tuple[Floats, Bools]:
    """Pulse starts (..., k, pulses) from `start_s` on, and whether each is within the window."""
    start_s = start_s[..., None]
    first = np.ceil((start_s - phase_s) / period_s)
    count = np.arange(math.floor(window_s / float(period_s.min())) + 1)
    begin_s = (phase_s + first * period_s)[..., None] + count * period_s[..., None]
    return begin_s, begin_s < (start_s + window_s)[..., None]


def _others(sender: int, against: Bools | None, senders: int) -> Bools:
    """Whether `sender` counts against each one (..., k); never against itself."""
    other: Bools = np.arange(senders) != sender
    return other if against is None else other & against[..., sender]
