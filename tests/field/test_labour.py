"""The sweat of a target, what fits, and the depths the snow allows."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.field.labour import ASSUMPTIONS, DEEP_M, LEAST_DEPTH_M, Depths, Sweat
from blindfield.model.errors import ConfigError

DEPTHS_M = np.array([0.4, 0.6, 0.8, 1.0, 1.5])


def test_one_hole_by_hand() -> None:
    # 0.8 m x (0.9 + 0.25 x 1) m x 1 m = 0.92 m3, at 0.15 m3/min, 40 % to fill, 3 min to stake
    assert float(Sweat(1).target_minutes(np.array(1.0))) == pytest.approx(3 + 0.92 / 0.15 * 1.4)


def test_deeper_takes_longer_and_more_people_less() -> None:
    alone, four = Sweat(1).target_minutes(DEPTHS_M), Sweat(4).target_minutes(DEPTHS_M)
    assert (np.diff(alone) > 0).all()
    assert ((alone - 3.0) / (four - 3.0)) == pytest.approx(np.full(5, 4**0.8))


def test_the_whole_is_the_targets_and_the_pegging() -> None:
    sweat = Sweat(2)
    total = float(sweat.total_minutes(DEPTHS_M))
    assert total == pytest.approx(10.0 + float(sweat.target_minutes(DEPTHS_M).sum()))


@given(people=st.integers(1, 6), minutes=st.floats(1.0, 300.0))
def test_as_many_as_are_said_to_fit_do_and_no_more(people: int, minutes: float) -> None:
    sweat = Sweat(people, minutes)
    fits = sweat.fits()
    assert fits is not None
    if fits:
        sweat.check(fits)
        assert float(sweat.total_minutes(np.full(fits, LEAST_DEPTH_M))) <= minutes + 1e-6
    with pytest.raises(ConfigError, match=f"{fits} fit"):
        sweat.check(fits + 1)


def test_without_a_limit_anything_fits() -> None:
    assert Sweat(1).fits() is None
    Sweat(1).check(500)


@pytest.mark.parametrize(
    "wrong", [(0, None), (-1, None), (99, None), (2, 0.0), (2, -5.0), (2, math.inf), (2, math.nan)]
)
def test_nobody_or_no_time_is_refused(wrong: tuple[int, float | None]) -> None:
    with pytest.raises(ConfigError):
        Sweat(*wrong)


def test_depths_stay_under_the_snow() -> None:
    assert Depths(1.5).steps_m == (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
    assert Depths(0.7).steps_m == (0.4, 0.5, 0.6)
    assert Depths(1.5, deepest_m=0.95).steps_m == (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
    assert Depths(0.41).steps_m == (0.4,)


@given(snow_m=st.floats(0.41, 5.0), count=st.integers(1, 12))
def test_no_depth_reaches_the_ground(snow_m: float, count: int) -> None:
    depths = Depths(snow_m)
    assert depths.steps_m == tuple(sorted(set(depths.steps_m)))
    assert all(LEAST_DEPTH_M <= step < snow_m for step in depths.steps_m)
    assert depths.deep_of(count) <= count
    if depths.limit_m <= DEEP_M:
        assert depths.deep_of(count) == 0


@pytest.mark.parametrize(
    ("depths", "said"),
    [
        ({"snow_m": 0.4}, "too little"),
        ({"snow_m": 0.0}, "no snow depth"),
        ({"snow_m": math.nan}, "no snow depth"),
        ({"snow_m": 1.0, "deepest_m": 1.0}, "needs more than 1 m of snow"),
        ({"snow_m": 5.0, "deepest_m": 2.1}, "beyond the limit"),
        ({"snow_m": 5.0, "deepest_m": 0.1}, "beyond the limit"),
        ({"snow_m": 0.8, "deep": 1}, "no target can lie deep"),
        ({"deep": -1}, "fewer than no"),
    ],
)
def test_depths_the_snow_or_the_limit_forbids(depths: dict[str, float], said: str) -> None:
    with pytest.raises(ConfigError, match=said):
        Depths(**depths)


def test_one_metre_in_a_little_more_snow_is_allowed() -> None:
    assert Depths(1.01, deepest_m=1.0).limit_m == 1.0


def test_every_assumption_is_told_with_its_source() -> None:
    told = " ".join(ASSUMPTIONS)
    assert "no source" in told
    for figure in ("0.8 m", "0.9 m", "0.15 m3", "40%", "3 min", "10 min"):
        assert figure in told
