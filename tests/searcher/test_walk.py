"""What every modelled search must hold, whatever was drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.model.errors import ConfigError
from blindfield.searcher.excavation import excavation_s
from blindfield.searcher.problem import EXAMPLE
from blindfield.searcher.profiles import EXPERT, NEW, PRACTISED, PROFILES
from blindfield.searcher.values import Phase, Problem, Source, Walks
from blindfield.searcher.walk import walk
from support.searching import STEADY, all_changed, changed, last_find_s, one_target

ROUNDING_S = 1e-6


@st.composite
def problems(draw: st.DrawFn) -> Problem:
    places = draw(
        st.lists(
            st.tuples(*[st.floats(0.0, 50.0)] * 2, st.floats(0.3, 2.5)), min_size=1, max_size=4
        )
    )
    sources = tuple(
        Source(
            f"t{number}",
            *place,
            azimuth_deg=draw(st.none() | st.floats(0.0, 360.0)),
            period_s=draw(st.floats(0.9, 1.1)),
            starts=draw(st.sampled_from(["start", "first_find", "time"])),
            else_s=draw(st.none() | st.floats(0.0, 400.0)),
        )
        for number, place in enumerate(places)
    )
    return replace(
        EXAMPLE,
        sources=sources,
        start_x_m=draw(st.floats(0.0, 50.0)),
        start_y_m=draw(st.floats(0.0, 50.0)),
        end_on=draw(st.sampled_from(["strike", "dug_out"])),
        marking_allowed=draw(st.booleans()),
    )


def check_times(problem: Problem, walks: Walks, until_s: float) -> None:
    """Order, finds, phases and legs say the same thing."""
    count, senders = walks.found_s.shape
    rows = np.arange(count)
    done_s = np.zeros(count)
    for leg in range(senders):
        source = walks.order[:, leg]
        ended = source >= 0
        phases = walks.phase_s[:, leg]
        assert np.isnan(phases[~ended]).all()
        rows_in, source_in = rows[ended], source[ended]
        found_s = walks.found_s[rows_in, source_in]
        walked = phases[ended][:, : Phase.EXCAVATION]
        assert (walked >= 0).all()
        assert np.allclose(done_s[ended] + walked.sum(axis=1), found_s, atol=ROUNDING_S)
        assert (found_s <= until_s).all()
        done_s[ended] = found_s
        if problem.end_on == "dug_out":
            dug_s = walks.dug_s[rows_in, source_in]
            digging_s = phases[ended][:, Phase.EXCAVATION]
            assert np.allclose(found_s + digging_s, dug_s, equal_nan=True, atol=ROUNDING_S)
            done_s[ended] = dug_s
    finds = (walks.order >= 0).sum(axis=1)
    assert (finds == (~np.isnan(walks.found_s)).sum(axis=1)).all()


@given(problem=problems(), name=st.sampled_from(sorted(PROFILES)), seed=st.integers(0, 2**31))
@settings(max_examples=15)
def test_phases_are_never_negative_and_sum_to_the_legs(
    problem: Problem, name: str, seed: int
) -> None:
    walks = walk(problem, PROFILES[name], count=4, seed=seed)
    check_times(problem, walks, problem.time_limit_s + 300.0)


def test_the_same_by_seed_and_another_by_another_seed() -> None:
    first, again, other = (walk(EXAMPLE, PRACTISED, count=30, seed=seed) for seed in (7, 7, 8))
    for name in ("found_s", "dug_s", "order", "phase_s", "backup"):
        assert np.array_equal(getattr(first, name), getattr(again, name), equal_nan=True)
    assert not np.array_equal(first.found_s, other.found_s)


@pytest.mark.parametrize("name", PROFILES)
def test_nobody_finds_sooner_than_their_feet_and_hands_allow(name: str) -> None:
    profile = replace(PROFILES[name], speed_spread=0.0)
    walks = walk(EXAMPLE, profile, count=100, seed=3)
    fastest_m_s = max(profile.signal_speed_m_s, profile.coarse_speed_m_s)
    for number, source in enumerate(EXAMPLE.sources):
        apart_m = np.hypot(source.x_m - EXAMPLE.start_x_m, source.y_m - EXAMPLE.start_y_m)
        least_s = (apart_m - 3.0) / fastest_m_s + profile.assembly_s + profile.stroke_s
        assert np.nanmin(walks.found_s[:, number]) > least_s


def test_nobody_finds_what_does_not_send_yet() -> None:
    problem = all_changed(starts="time", else_s=300.0)
    walks = walk(problem, PRACTISED, count=40, seed=2, until_s=700.0)
    assert np.nanmin(walks.found_s) > 300.0
    assert (~np.isnan(walks.found_s)).any()


def test_a_signal_that_waits_for_a_find_that_cannot_come_is_never_found() -> None:
    walks = walk(one_target(starts="first_find"), PRACTISED, count=10, seed=2)
    assert np.isnan(walks.found_s).all()
    assert (walks.order == -1).all()


def test_a_second_signal_comes_with_the_first_find_or_with_its_else() -> None:
    waits = changed(1, starts="first_find", else_s=400.0)
    walks = walk(waits, EXPERT, count=60, seed=5)
    assert (walks.order[:, 0] == 0).all()
    assert (walks.found_s[:, 1] > walks.found_s[:, 0]).all()
    never_first = changed(0, waits, starts="time", else_s=None)
    walks = walk(never_first, EXPERT, count=60, seed=5)
    assert np.isnan(walks.found_s[:, 0]).all()
    assert np.nanmin(walks.found_s[:, 1]) > 400.0


def test_who_has_not_found_all_in_time_ends_with_nan() -> None:
    whole = walk(EXAMPLE, NEW, count=100, seed=4, until_s=1200.0)
    cut = walk(EXAMPLE, NEW, count=100, seed=4, until_s=350.0)
    assert np.nanmax(whole.found_s) > 350.0
    assert np.nanmax(cut.found_s) <= 350.0
    check_times(EXAMPLE, cut, 350.0)
    early = walk(EXAMPLE, NEW, count=20, seed=4, until_s=20.0)
    assert np.isnan(early.found_s).all()


def test_the_default_end_is_five_minutes_after_the_limit() -> None:
    problem = replace(EXAMPLE, time_limit_s=60.0)
    default = walk(problem, NEW, count=50, seed=4)
    stated = walk(problem, NEW, count=50, seed=4, until_s=360.0)
    assert np.array_equal(default.found_s, stated.found_s, equal_nan=True)


def test_digging_takes_what_depth_and_hands_ask_and_silences_the_target() -> None:
    problem = replace(one_target(depth_m=1.4), end_on="dug_out")
    for hands in (1, 3):
        profile = replace(STEADY, shovellers=hands)
        walks = walk(problem, profile, count=5, seed=1)
        digging_s = walks.phase_s[:, 0, Phase.EXCAVATION]
        assert digging_s == pytest.approx(float(excavation_s(np.array(1.4), profile)))
        assert walks.dug_s - walks.found_s == pytest.approx(digging_s[:, None])
    two = walk(replace(EXAMPLE, end_on="dug_out"), PRACTISED, count=50, seed=1)
    assert np.all(two.phase_s[:, 1, Phase.MARKING] == 0)
    assert not two.backup.any()


def test_a_search_that_ends_on_the_strike_digs_nothing() -> None:
    walks = walk(EXAMPLE, PRACTISED, count=20, seed=1)
    assert np.isnan(walks.dug_s).all()
    assert np.all(walks.phase_s[..., Phase.EXCAVATION] == 0)


def test_marking_forbidden_brings_a_backup_method_only_for_a_near_target() -> None:
    near = replace(changed(1, x_m=20.0, y_m=28.0), marking_allowed=False)
    far = replace(EXAMPLE, marking_allowed=False)
    for profile in (PRACTISED, NEW):
        walks = walk(near, profile, count=40, seed=6, until_s=1200.0)
        assert walks.backup[:, 1].mean() > 0.9
        assert np.nanmedian(walks.phase_s[:, 1, Phase.BACKUP]) > 20.0
        assert np.isfinite(last_find_s(walks)).mean() > 0.8
        assert not walk(far, profile, count=40, seed=6).backup.any()


def test_pulses_that_always_coincide_make_marking_fail() -> None:
    together = all_changed(changed(1, x_m=20.0, y_m=28.0), period_s=1.0, phase_s=0.0)
    apart = changed(1, together, phase_s=0.5)
    assert walk(together, PRACTISED, count=40, seed=6).backup[:, 1].mean() > 0.9
    assert not walk(apart, PRACTISED, count=40, seed=6).backup.any()


def test_a_target_that_rests_after_its_strike_needs_no_mark() -> None:
    near = replace(changed(1, x_m=20.0, y_m=28.0), marking_allowed=False)
    resting = all_changed(near, rests_s=0.0)
    assert not walk(resting, PRACTISED, count=30, seed=6).backup.any()


@pytest.mark.parametrize("edge", ["x", "y"])
def test_a_weak_signal_anywhere_is_reached_by_the_strips(edge: str) -> None:
    profile = replace(STEADY, coaxial_range_m=12.0, strip_width_m=12.0)
    start = {"start_x_m": 0.0, "start_y_m": 31.0} if edge == "x" else {"start_x_m": 8.0}
    for x_m, y_m in ((1.0, 1.0), (49.0, 2.0), (25.0, 25.0), (2.0, 48.0), (49.0, 49.0)):
        problem = replace(one_target(x_m=x_m, y_m=y_m, azimuth_deg=None), **start)
        walks = walk(problem, profile, count=20, seed=1, until_s=1200.0)
        assert np.isfinite(last_find_s(walks)).all()


def test_the_example_takes_what_common_practice_says() -> None:
    """Assumed, no source: some 4 to 7 min for a practised searcher, 2 to 4 for an expert; each
    with a tenth to spare."""
    for profile, low_s, high_s in ((PRACTISED, 216.0, 460.0), (EXPERT, 108.0, 264.0)):
        assert low_s < np.median(last_find_s(walk(EXAMPLE, profile, count=200, seed=1))) < high_s


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ({"problem": replace(EXAMPLE, sources=())}, "no target sends"),
        ({"problem": changed(0, y_m=50.1)}, "target 1 .*outside"),
        ({"count": 0}, "0 searchers"),
        ({"until_s": 0.0}, "cannot be walked"),
        ({"until_s": float("nan")}, "cannot be walked"),
        ({"profile": replace(PRACTISED, pulse_resolution_s=0.6)}, "pulse_resolution_s = 0.6"),
        ({"profile": replace(PRACTISED, separation_window_s=0.5)}, "separation_window_s = 0.5"),
    ],
)
def test_wrong_input_is_refused_with_its_value(call: dict[str, object], said: str) -> None:
    given_call = {"problem": EXAMPLE, "profile": PRACTISED, "count": 2, "seed": 1, **call}
    with pytest.raises(ConfigError, match=said):
        walk(given_call.pop("problem"), given_call.pop("profile"), **given_call)  # type: ignore[arg-type]
