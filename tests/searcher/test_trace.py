"""One search in detail is the search that `walk` counts."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import NEW, PRACTISED, PROFILES
from blindfield.searcher.scene import PACK
from blindfield.searcher.values import Phase, Problem, Trace
from blindfield.searcher.walk import trace, walk
from support.searching import STEADY, changed, one_target

STEP_S = 1.0
SLACK_S = 1e-6


def seconds_of(shown: Trace, phase: Phase) -> float:
    """Time between rows counts to the phase of the later row where it changes within, else both."""
    gaps = np.diff(shown.run_s)
    return float(gaps[shown.phase[1:] == phase].sum())


def dug() -> Problem:
    return replace(EXAMPLE, end_on="dug_out")


def near_and_unmarked() -> Problem:
    return replace(changed(1, x_m=20.0, y_m=28.0), marking_allowed=False)


@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("problem", [EXAMPLE, dug(), near_and_unmarked()])
def test_a_trace_is_a_walk_of_one(problem: Problem, name: str) -> None:
    for seed in range(2):
        shown = trace(problem, PROFILES[name], seed=seed)
        walks = walk(problem, PROFILES[name], count=1, seed=seed)
        for times, told in ((walks.found_s, shown.found), (walks.dug_s, shown.dug_out)):
            expected = {
                source.name: time
                for source, time in zip(problem.sources, times[0].tolist(), strict=True)
                if not np.isnan(time)
            }
            assert told == expected


@pytest.mark.parametrize("problem", [EXAMPLE, dug(), near_and_unmarked()])
def test_rows_are_at_most_a_second_apart_and_nobody_jumps(problem: Problem) -> None:
    for seed in range(3):
        shown = trace(problem, PRACTISED, seed=seed)
        gaps_s = np.diff(shown.run_s)
        assert shown.run_s[0] == 0.0
        assert (gaps_s >= 0).all()
        assert gaps_s.max() <= STEP_S + SLACK_S
        moved_m = np.hypot(np.diff(shown.x_m), np.diff(shown.y_m))
        assert moved_m.max() < 3.0
        columns = (shown.x_m, shown.y_m, shown.phase, shown.displayed_m, shown.arrow_deg)
        assert {column.shape for column in columns} == {shown.run_s.shape}


def test_the_phases_of_the_rows_last_as_long_as_the_walk_counts() -> None:
    for problem in (EXAMPLE, dug(), near_and_unmarked()):
        shown = trace(problem, PRACTISED, seed=11)
        counted = walk(problem, PRACTISED, count=1, seed=11).phase_s[0].sum(axis=0)
        for phase in (Phase.FINE_SEARCH, Phase.PINPOINTING, Phase.MARKING, Phase.EXCAVATION):
            assert seconds_of(shown, phase) == pytest.approx(counted[phase], abs=SLACK_S)
        changes = np.count_nonzero(np.diff(shown.phase))
        reaction_s = PRACTISED.reaction_s + STEP_S
        for phase in (Phase.SIGNAL_SEARCH, Phase.COARSE_SEARCH, Phase.RETURN, Phase.BACKUP):
            apart_s = abs(seconds_of(shown, phase) - counted[phase])
            assert apart_s <= reaction_s * (changes + 1)


def test_a_find_is_a_stroke_on_the_pack() -> None:
    for seed in range(6):
        shown = trace(EXAMPLE, PRACTISED, seed=seed)
        hits = {probe.source: probe for probe in shown.probes if probe.source}
        assert {name: probe.run_s for name, probe in hits.items()} == pytest.approx(shown.found)
        for source in EXAMPLE.sources:
            probe = hits[source.name]
            assert np.hypot(probe.x_m - source.x_m, probe.y_m - source.y_m) <= PACK.reach_m


def test_strokes_come_one_after_another_and_only_hits_are_pushes() -> None:
    shown = [trace(EXAMPLE, NEW, seed=seed) for seed in range(12)]
    pushes = sharp = 0
    for one in shown:
        times = [probe.run_s for probe in one.probes]
        assert all(later > earlier for earlier, later in pairwise(times))
        assert not any(probe.push for probe in one.probes if probe.source is None)
        pushes += sum(probe.push for probe in one.probes)
        sharp += sum(not probe.push for probe in one.probes if probe.source)
    assert pushes > 0
    assert sharp > 0
    always = trace(EXAMPLE, replace(NEW, push_chance=1.0), seed=1)
    assert all(probe.push for probe in always.probes if probe.source)


def test_nothing_is_displayed_before_a_signal_is_heard_nor_while_probing() -> None:
    deaf = replace(STEADY, coaxial_range_m=12.0, strip_width_m=12.0)
    shown = trace(one_target(), deaf, seed=1, until_s=1200.0)
    first = int(np.argmax(shown.phase == Phase.COARSE_SEARCH))
    assert shown.run_s[first] > 10.0
    silent = shown.followed[: first // 2] == -1
    assert silent.all()
    assert np.isnan(shown.displayed_m[: first // 2]).all()
    probing = shown.phase == Phase.PINPOINTING
    assert probing.any()
    assert np.isnan(shown.displayed_m[probing]).all()


def test_the_display_falls_to_about_three_metres_before_fine_search() -> None:
    for seed in range(6):
        shown = trace(EXAMPLE, STEADY, seed=seed)
        before = np.flatnonzero(np.diff((shown.phase == Phase.FINE_SEARCH).astype(int)) == 1)
        assert len(before) >= 2
        for row in before:
            if shown.phase[row] == Phase.COARSE_SEARCH:
                assert shown.displayed_m[row] < 3.5
        assert (shown.followed[shown.phase == Phase.FINE_SEARCH] >= 0).all()


def test_a_trace_ends_where_the_searcher_gives_up() -> None:
    shown = trace(EXAMPLE, NEW, seed=2, until_s=100.0)
    assert shown.run_s[-1] <= 100.0
    assert shown.found == {}
    assert all(probe.run_s <= 100.0 for probe in shown.probes)
