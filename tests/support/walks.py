"""Searches made up from known distributions, to test statistics against what is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from blindfield.searcher.values import Phase, Problem, Source, Walks


@dataclass(frozen=True)
class MadeProfile:
    """Enough of a profile to be named and to be part of a key."""

    name: str = "practised"
    speed_m_s: float = 1.2


def made_problem(targets: int = 2, **changes: object) -> Problem:
    sources = tuple(
        Source(f"s{n}", 10.0 + 12 * n, 30.0 - 7 * n, 0.8 + 0.1 * n) for n in range(targets)
    )
    values: dict[str, object] = {
        "width_m": 50.0,
        "height_m": 50.0,
        "start_x_m": 25.0,
        "start_y_m": 0.0,
        "sources": sources,
        "title": "Made up",
    }
    return Problem(**{**values, **changes})  # type: ignore[arg-type]


def walks_of(legs_s: np.ndarray, digs_s: np.ndarray | None = None, *, swap: bool = False) -> Walks:
    """Searches whose legs took exactly `legs_s` (count, k); nan: gave up on that leg.

    Targets are found in the order of the sources, backwards with `swap`. Each leg is one part
    signal search and three parts pinpointing.
    """
    count, targets = legs_s.shape
    dig = np.zeros_like(legs_s) if digs_s is None else digs_s
    ended = np.cumsum(legs_s + dig, axis=1)  # nan stays nan: nothing comes after giving up
    struck = ended - dig
    places = np.arange(targets)[::-1] if swap else np.arange(targets)
    order = np.where(np.isnan(struck), -1, places)
    found, dug = np.full(legs_s.shape, np.nan), np.full(legs_s.shape, np.nan)
    found[:, places] = struck
    dug[:, places] = ended
    phase = np.zeros((count, targets, len(Phase)))
    phase[..., Phase.SIGNAL_SEARCH] = np.nan_to_num(legs_s) * 0.25
    phase[..., Phase.PINPOINTING] = np.nan_to_num(legs_s) * 0.75
    phase[..., Phase.EXCAVATION] = np.where(np.isnan(struck), 0.0, dig)
    return Walks(found, dug, order, phase, np.zeros((count, targets), dtype=bool))


def drawn_legs(
    count: int, medians_s: tuple[float, ...] = (90.0, 150.0), *, spread: float = 0.3, seed: int = 1
) -> np.ndarray:
    """(count, k): log-normal legs with these medians."""
    rng = np.random.default_rng(seed)
    return np.array(medians_s) * np.exp(spread * rng.standard_normal((count, len(medians_s))))
