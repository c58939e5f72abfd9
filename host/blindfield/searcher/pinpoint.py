"""Pinpointing: a spiral of strokes about the smallest display until one lands on a pack."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from blindfield.physics.arrays import Floats, Ints
from blindfield.physics.probing import inside, spiral_m
from blindfield.searcher.episodes import stand
from blindfield.searcher.recorder import Recorder
from blindfield.searcher.scene import PACK
from blindfield.searcher.state import State
from blindfield.searcher.values import Phase, Probe

# How far a spiral goes before the searcher doubts the fine search and repeats it; ours. The last
# one covers a maximum that lies half the depth of a 5 m deep target aside.
RADII_M = (0.75, 1.25, 2.0, 2.75)
DEEPEST_M = 3.0  # no probe of these searchers goes deeper; common practice, no source


def pinpointing(state: State, who: Ints) -> Ints:
    """The strokes of each until the first hit. Returns those who hit; the rest search fine again.

    A stroke on the pack of any target not found before is a hit unless it goes unnoticed
    (`miss_rate`). Its time grows with the depth that the smallest display suggests.
    """
    scene, profile = state.scene, state.scene.profile
    attempt = np.minimum(state.attempts[who], len(RADII_M) - 1)
    strokes_m, allowed = _spiral(profile.probe_step_m)
    limit = np.array(allowed)[attempt]
    strokes_m = strokes_m[: limit.max()]
    struck, source = _first_hits(state, who, strokes_m, limit)
    made = np.where(struck >= 0, struck + 1, limit)
    each_s = profile.stroke_s + profile.stroke_s_per_m * np.minimum(state.shown_m[who], DEEPEST_M)
    ready_s = np.where((state.leg[who] == 0) & (state.attempts[who] == 0), profile.assembly_s, 0.0)
    push = scene.rng.random(who.size) < profile.push_chance
    if state.recorder is not None:
        one = _One(int(who[0]), float(ready_s[0]), float(each_s[0]), int(source[0]), bool(push[0]))
        _record(state, state.recorder, one, strokes_m[: made[0]])
    state.spend(who, Phase.PINPOINTING, ready_s + made * each_s)
    hit = struck >= 0
    state.lead[who[hit]] = source[hit]
    state.attempts[who] = np.where(hit, 0, state.attempts[who] + 1)
    state.phase[who[~hit]] = Phase.FINE_SEARCH
    return who[hit]


@lru_cache(maxsize=16)
def _spiral(step_m: float) -> tuple[Floats, tuple[int, ...]]:
    """The strokes (s, 2) of the widest spiral, and how many of them each radius allows."""
    strokes_m = spiral_m(step_m, RADII_M[-1])
    rings = [math.ceil(radius / step_m) for radius in RADII_M[:-1]]
    return strokes_m, (*(min(len(strokes_m), (2 * n + 1) ** 2) for n in rings), len(strokes_m))


def _first_hits(state: State, who: Ints, strokes_m: Floats, limit: Ints) -> tuple[Ints, Ints]:
    """Number of the first noticed hit (-1: none) and the source that it lands on."""
    scene = state.scene
    at_m = np.stack([state.x_m[who], state.y_m[who]], axis=-1)[:, None, :] + strokes_m
    noticed = scene.rng.random(at_m.shape[:2]) >= scene.profile.miss_rate
    noticed &= np.arange(len(strokes_m)) < limit[:, None]
    first, source = np.full(who.size, len(strokes_m)), np.full(who.size, -1)
    for number in range(scene.senders):
        offset_m = at_m - scene.place_m[number, :2]
        on = inside(offset_m, PACK, scene.pack_azimuth_deg[who, number, None]) & noticed
        on &= np.isnan(state.found_s[who, number])[:, None]
        at = np.where(on.any(axis=1), on.argmax(axis=1), len(strokes_m))
        source = np.where(at < first, number, source)
        first = np.minimum(first, at)
    return np.where(source >= 0, first, -1), source


class _One(NamedTuple):
    """What the recorded searcher does: who, seconds until ready and for each stroke, the source
    that the last stroke lands on (-1: none), and whether it is a push."""

    who: int
    ready_s: float
    each_s: float
    source: int
    push: bool


def _record(state: State, recorder: Recorder, one: _One, strokes_m: Floats) -> None:
    begin_s = float(state.run_s[one.who]) + one.ready_s
    at_m = strokes_m + np.array([state.x_m[one.who], state.y_m[one.who]])
    for number, (x_m, y_m) in enumerate(at_m.tolist(), start=1):
        last = number == len(at_m) and one.source >= 0
        name = state.scene.problem.sources[one.source].name if last else None
        push = one.push and last
        recorder.probes.append(Probe(begin_s + number * one.each_s, x_m, y_m, name, push))
    stand(state, one.who, begin_s + len(at_m) * one.each_s, Phase.PINPOINTING)
