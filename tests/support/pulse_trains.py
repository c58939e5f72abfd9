"""Pulse trains laid out pulse by pulse: slow, plain, and independent of the kernels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise


def beginnings_s(period_s: float, phase_s: float, from_s: float, until_s: float) -> list[float]:
    """Every pulse start in [from_s, until_s)."""
    first = math.ceil((from_s - phase_s) / period_s)
    starts = []
    while (start_s := phase_s + first * period_s) < until_s:
        starts.append(start_s)
        first += 1
    return starts


def clean_count(
    trains: Sequence[tuple[float, float, float]],
    sender: int,
    start_s: float,
    window_s: float,
    resolution_s: float,
    against: Sequence[bool],
) -> int:
    """Pulses of `sender` in the window that no counted train (period, on, phase) comes near."""
    period_s, on_s, phase_s = trains[sender]
    clean = 0
    for begin_s in beginnings_s(period_s, phase_s, start_s, start_s + window_s):
        before_s, after_s = begin_s - resolution_s, begin_s + on_s + resolution_s
        clean += not any(
            begun_s < after_s and begun_s + other_on_s > before_s
            for index, (other_period_s, other_on_s, other_phase_s) in enumerate(trains)
            if index != sender and against[index]
            for begun_s in beginnings_s(
                other_period_s, other_phase_s, before_s - 2.0 * other_period_s, after_s
            )
        )
    return clean


def ring_overlaps(phases_s: Sequence[float], on_s: float, period_s: float) -> bool:
    """Whether any two equal pulses of one period overlap, on the ring of that period."""
    ordered = sorted(phase_s % period_s for phase_s in phases_s)
    ordered.append(ordered[0] + period_s)
    return any(later_s - sooner_s < on_s for sooner_s, later_s in pairwise(ordered))


def overlapped_runs_s(
    first: tuple[float, float], second: tuple[float, float], until_s: float
) -> list[tuple[float, float]]:
    """Stretches in which each pulse of the first (period, on) meets one of the second.

    As (start of the first such pulse, start of the last one), both trains beginning at zero.
    """
    starts = beginnings_s(second[0], 0.0, -second[0], until_s + second[0])
    runs: list[list[float]] = []
    was_met = False
    for begin_s in beginnings_s(first[0], 0.0, 0.0, until_s):
        nearest_s = min(starts, key=lambda start_s: abs(start_s - begin_s))
        met = nearest_s < begin_s + first[1] and nearest_s + second[1] > begin_s
        if met and was_met:
            runs[-1][1] = begin_s
        elif met:
            runs.append([begin_s, begin_s])
        was_met = met
    return [(run[0], run[1]) for run in runs]
