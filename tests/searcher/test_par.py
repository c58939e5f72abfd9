"""Par: its statistics on searches that are known."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.searcher.cache import ParCache
from blindfield.searcher.legs import Pace, median_error, quantile, times_of, wilson
from blindfield.searcher.par import Band, Par, par_from, par_from_json, par_of, share_below
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import profile_named
from blindfield.searcher.values import Phase
from blindfield.searcher.walk import walk
from support.walks import drawn_legs, made_problem, walks_of

SECONDS = st.floats(1.0, 500.0)
SEARCHES = st.lists(st.tuples(SECONDS, SECONDS), min_size=1, max_size=30)


def par(legs_s: np.ndarray, **changes: object) -> Par:
    return par_from(walks_of(legs_s), made_problem(legs_s.shape[1], **changes), "made", seed=1)


def bands(one: Par) -> list[float]:
    """Every quantile of a par, inf for "not reached"."""
    never = Band(None, None, None)
    each = [one.whole, *one.legs, *(one.phases.get(phase, never) for phase in Phase)]
    values = [value for band in each for value in (band.low, band.median, band.high)]
    values += [*one.whole_centiles, *(value for leg in one.leg_centiles for value in leg)]
    return [math.inf if value is None else value for value in values]


def test_bands_are_the_order_statistics() -> None:
    found = par(np.arange(1.0, 101.0)[:, None])
    assert (found.whole.low, found.whole.median, found.whole.high) == (10.0, 50.0, 90.0)
    assert found.legs == (found.whole,)
    assert found.whole_centiles == tuple(range(1, 100))


@pytest.mark.parametrize("swap", [False, True])
def test_legs_go_by_the_order_found(swap: bool) -> None:
    legs_s = np.array([[60.0, 200.0]] * 5)
    found = par_from(walks_of(legs_s, swap=swap), made_problem(), "made", seed=1)
    assert [leg.median for leg in found.legs] == [60.0, 200.0]
    assert found.whole.median == 260.0


def test_digging_stands_apart_and_counts_in_the_whole() -> None:
    legs_s, digs_s = np.array([[60.0, 100.0]] * 4), np.array([[300.0, 240.0]] * 4)
    problem = made_problem(end_on="dug_out", time_limit_s=700.0)
    found = par_from(walks_of(legs_s, digs_s), problem, "made", seed=1)
    assert [leg.median for leg in found.legs] == [60.0, 100.0]
    assert [dig.median for dig in found.digging] == [300.0, 240.0]
    assert found.phases[Phase.EXCAVATION].median == 540.0
    assert found.whole.median == 700.0
    assert found.in_time.share == 1.0
    assert Phase.EXCAVATION not in par(legs_s).phases
    assert par(legs_s).digging == ()


def test_phases_are_summed_over_the_legs() -> None:
    found = par(np.array([[40.0, 80.0]] * 3))
    assert found.phases[Phase.SIGNAL_SEARCH].median == 30.0
    assert found.phases[Phase.PINPOINTING].median == 90.0
    assert found.phases.keys() == {Phase.SIGNAL_SEARCH, Phase.PINPOINTING}


def test_who_gave_up_is_longer_than_anyone() -> None:
    legs_s = np.array([[50.0, 70.0]] * 4 + [[60.0, np.nan]] * 4 + [[np.nan, np.nan]] * 2)
    found = par(legs_s)
    assert found.unfinished == 0.6
    assert found.in_time.share == 0.4
    assert (found.whole.low, found.whole.median, found.whole.high) == (120.0, None, None)
    assert (found.legs[0].median, found.legs[0].high) == (60.0, None)
    assert (found.legs[1].low, found.legs[1].median) == (70.0, None)
    assert found.phases[Phase.SIGNAL_SEARCH].median is None
    assert found.median_error_s is None


def never_lower(before: Par, after: Par) -> bool:
    return all(new >= old for old, new in zip(bands(before), bands(after), strict=True))


@given(SEARCHES)
def test_one_more_who_gives_up_never_lowers_a_quantile(
    searches: list[tuple[float, float]],
) -> None:
    before, after = par(np.array(searches)), par(np.array([*searches, (np.nan, np.nan)]))
    assert never_lower(before, after)
    assert after.in_time.share <= before.in_time.share


@given(SEARCHES, st.integers(0, 29), st.integers(0, 1))
def test_giving_up_instead_of_finishing_never_lowers_a_quantile(
    searches: list[tuple[float, float]], who: int, leg: int
) -> None:
    legs_s = np.array(searches)
    before = par(legs_s)
    legs_s[who % len(searches), leg:] = np.nan
    assert never_lower(before, par(legs_s))


@given(SEARCHES)
def test_json_round_trip(searches: list[tuple[float, float]]) -> None:
    found = par(np.array([*searches, (40.0, np.nan)]))
    text = json.dumps(found.to_json(), allow_nan=False)
    assert par_from_json(json.loads(text)) == found
    assert json.loads(text)["label"] == "model"


@pytest.mark.parametrize(
    "change",
    [
        {"label": "people"},
        {"whole": None},
        {"legs": [1]},
        {"phases": {"resting": {"low": 1.0, "median": 1.0, "high": 1.0}}},
        {"pace": {"time": 0.0, "spread": 1.0}},
        {"extra": 1},
    ],
)
def test_what_is_no_par_is_refused(change: dict[str, object]) -> None:
    data = par(drawn_legs(30)).to_json()
    with pytest.raises(ValueError, match=r"par|pace"):
        par_from_json({**data, **change})


def test_faster_is_the_share_below() -> None:
    found = par(np.column_stack([np.arange(1.0, 201.0), np.arange(201.0, 401.0)]))
    assert found.faster(100.0, leg=1) == pytest.approx(0.5, abs=0.01)
    assert found.faster(0.5, leg=1) == 0.0
    assert found.faster(1e6) == 1.0
    assert share_below((10.0, 20.0, None, None), 15.0) == pytest.approx(0.015)
    assert share_below((10.0, 20.0, None, None), 1e6) == 0.02
    assert share_below((None,) * 99, 1e6) == 0.0


def test_wilson_against_the_published_pair() -> None:
    assert wilson(7, 10) == pytest.approx((0.396778, 0.892209), abs=1e-6)
    assert wilson(0, 10)[0] == 0.0
    assert wilson(10, 10)[1] == 1.0
    for hits, count in ((-1, 4), (5, 4), (0, 0)):
        with pytest.raises(ValueError, match="share"):
            wilson(hits, count)


def test_the_error_of_the_median_is_that_of_theory_and_of_many_samples() -> None:
    """Log-normal, 500 values: 1.2533 spread / sqrt(500), the asymptotic formula for a median."""
    samples = drawn_legs(400 * 500, (100.0,), spread=0.3).reshape(400, 500)
    told = np.mean([median_error(sample) for sample in samples])
    medians = np.median(samples, axis=1)
    assert told == pytest.approx(100 * 1.2533 * 0.3 / math.sqrt(500), rel=0.05)
    assert told == pytest.approx(medians.std(), rel=0.12)


@pytest.mark.parametrize("count", [19, 1])
def test_too_few_tell_no_error(count: int) -> None:
    assert median_error(np.arange(float(count))) is None


def test_a_quantile_wants_values() -> None:
    with pytest.raises(ValueError, match="no values"):
        quantile(np.array([]), 0.5)


def test_pace_stretches_the_legs_and_leaves_the_digging() -> None:
    legs_s, digs_s = drawn_legs(200), np.full((200, 2), 100.0)
    problem = made_problem(end_on="dug_out")
    walks = walks_of(legs_s, digs_s)
    plain = par_from(walks, problem, "made", seed=1)
    slow = par_from(walks, problem, "made", seed=1, pace=Pace(time=1.5))
    assert slow.legs[0].median == pytest.approx(1.5 * plain.legs[0].median)
    assert slow.phases[Phase.PINPOINTING].median == pytest.approx(
        1.5 * plain.phases[Phase.PINPOINTING].median
    )
    assert slow.digging == plain.digging
    assert slow.in_time.share < plain.in_time.share
    wide = par_from(walks, problem, "made", seed=1, pace=Pace(spread=2.0))
    assert wide.legs[0].median == pytest.approx(plain.legs[0].median, rel=0.02)
    ratio = math.log(plain.legs[0].high / plain.legs[0].low)
    assert math.log(wide.legs[0].high / wide.legs[0].low) == pytest.approx(2 * ratio, rel=0.01)


def test_a_pace_that_runs_out_of_time_does_not_finish() -> None:
    legs_s = np.full((10, 2), 500.0)
    slow = par_from(walks_of(legs_s), made_problem(), "made", seed=1, pace=Pace(time=2.0))
    assert slow.legs[0].median == 1000.0
    assert slow.legs[1].median is None
    assert slow.unfinished == 1.0


@pytest.mark.parametrize("factors", [(0.0, 1.0), (1.0, -1.0), (math.inf, 1.0), (math.nan, 1.0)])
def test_an_impossible_pace_is_refused(factors: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="positive"):
        Pace(*factors)


def test_walks_of_another_problem_are_refused() -> None:
    with pytest.raises(ValueError, match="found_s"):
        times_of(walks_of(drawn_legs(5)), made_problem(3))


REAL = [(name, seed) for name in ("practised", "expert") for seed in (1, 2)]


@pytest.mark.parametrize(("name", "seed"), REAL)
def test_500_searchers_tell_the_median_of_the_example_to_2_percent(name: str, seed: int) -> None:
    found = par_of(EXAMPLE, profile_named(name), seed=seed)
    assert found.count == 500
    assert found.median_error_s is not None
    assert found.whole.median is not None
    assert found.median_error_s <= 0.02 * found.whole.median


def test_the_same_by_seed_and_another_by_another() -> None:
    pars = [par_of(EXAMPLE, profile_named("new"), count=60, seed=seed) for seed in (3, 3, 4)]
    assert pars[0] == pars[1]
    assert pars[0].whole != pars[2].whole


def test_the_parts_of_each_real_search_add_up_to_its_whole() -> None:
    for end_on in ("strike", "dug_out"):
        problem = replace(EXAMPLE, end_on=end_on, time_limit_s=1800.0)
        walks = walk(problem, profile_named("practised"), count=80, seed=2)
        times = times_of(walks, problem)
        done = np.isfinite(times.whole_s)
        assert done.any()
        last_s = np.nanmax(walks.dug_s if end_on == "dug_out" else walks.found_s, axis=1)
        assert times.whole_s[done] == pytest.approx(last_s[done])
        on_foot = times.phase_s[done][..., : Phase.EXCAVATION].sum(axis=2)
        assert on_foot == pytest.approx(times.leg_s[done])
        if end_on == "dug_out":
            assert times.phase_s[done][..., Phase.EXCAVATION] == pytest.approx(times.dig_s[done])


def test_a_cache_serves_what_was_walked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept, profile = ParCache(tmp_path), profile_named("expert")
    first = par_of(EXAMPLE, profile, count=40, cache=kept)
    monkeypatch.setattr("blindfield.searcher.walk.walk", None)
    assert par_of(EXAMPLE, profile, count=40, cache=kept) == first
    with pytest.raises(TypeError):  # another seed is walked, which is impossible here
        par_of(EXAMPLE, profile, count=40, seed=2, cache=kept)
