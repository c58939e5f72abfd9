"""Margin of the link to a buried device: limits, invariants of the bent ray, bands, refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.link_margin import (
    Band,
    Margin,
    Radio,
    bent_ray,
    depth_used_up_m,
    distance_used_up_m,
    free_space_db,
    margin,
    surface_loss_db,
)
from blindfield.physics.snow import snow_loss

depths_m = st.floats(0.1, 2.0)
distances_m = st.floats(0.0, 60.0)
heights_m = st.floats(0.3, 2.0)
indices = st.floats(1.02, 2.0)
EXACT = Radio(
    transmit_dbm=0.0,
    sensitivity_dbm=-90.0,
    device_antenna_db=Band(0.0, 0.0),
    reader_antenna_db=Band(0.0, 0.0),
    fading_db=Band(0.0, 0.0),
)


def at(
    depth_m: float,
    horizontal_m: float,
    density_kg_m3: float = 300.0,
    wetness_percent: float = 3.0,
    radio: Radio | None = None,
) -> Margin:
    return margin(
        depth_m,
        horizontal_m,
        density_kg_m3=density_kg_m3,
        wetness_percent=wetness_percent,
        radio=radio,
    )


@given(depths_m, distances_m, heights_m, indices)
def test_the_ray_obeys_snell_and_arrives(
    depth_m: float, horizontal_m: float, height_m: float, index: float
) -> None:
    ray = bent_ray(np.asarray(depth_m), np.asarray(horizontal_m), height_m, index)
    sin_snow, sin_air = math.sqrt(1 - ray.cos_snow**2), math.sqrt(1 - ray.cos_air**2)
    assert sin_air == pytest.approx(index * sin_snow, abs=1e-9)
    assert ray.snow_m * ray.cos_snow == pytest.approx(depth_m)
    assert ray.air_m * ray.cos_air == pytest.approx(height_m)
    assert ray.snow_m * sin_snow + ray.air_m * sin_air == pytest.approx(horizontal_m, abs=1e-6)


@given(depths_m, distances_m, heights_m, indices)
def test_no_other_way_is_shorter_for_the_wave(
    depth_m: float, horizontal_m: float, height_m: float, index: float
) -> None:
    """Fermat: of all crossings of the surface the ray's takes the least time."""
    ray = bent_ray(np.asarray(depth_m), np.asarray(horizontal_m), height_m, index)
    crossing = np.linspace(0.0, horizontal_m, 500)
    times = np.hypot(crossing, height_m) + index * np.hypot(horizontal_m - crossing, depth_m)
    assert ray.air_m + index * ray.snow_m <= times.min() + 1e-9


@given(depths_m, distances_m, heights_m)
def test_snow_like_air_is_free_space(depth_m: float, horizontal_m: float, height_m: float) -> None:
    depth = np.asarray(depth_m)
    ray = bent_ray(depth, np.asarray(horizontal_m), height_m, 1.0)
    assert surface_loss_db(depth, height_m, 1.0, ray) == pytest.approx((0.0, 0.0), abs=1e-6)


def test_straight_up_the_loss_is_that_of_any_textbook() -> None:
    """Normal incidence: 1 - ((n - 1)/(n + 1))^2 passes; the bundle is that of d + n h."""
    depth, index = np.asarray(1.0), 1.5
    ray = bent_ray(depth, np.asarray(0.0), 2.0, index)
    expected_db = -10 * math.log10(1 - 0.2**2) + 20 * math.log10((1.0 + 2.0 * 1.5) / 3.0)
    assert surface_loss_db(depth, 2.0, index, ray) == pytest.approx((expected_db, expected_db))


@pytest.mark.parametrize("index", [1.2, 1.6])
def test_the_power_that_passes_the_surface_arrives_above_it(index: float) -> None:
    """Without reflection and for 1 W from the device, the flux through the level of the reader is
    all that leaves the device steeper than the critical angle."""
    depth, height_m = np.asarray(1.0), 1.0
    horizontal = np.concatenate([np.linspace(0, 50, 20_001), np.geomspace(50, 5000, 20_001)[1:]])
    ray = bent_ray(depth, horizontal, height_m, index)
    kinder_db, harsher_db = surface_loss_db(depth, height_m, index, ray)
    n, air, snow = index, ray.cos_air, ray.cos_snow
    te = 1 - ((n * snow - air) / (n * snow + air)) ** 2
    tm = 1 - ((n * air - snow) / (n * air + snow)) ** 2
    straight = horizontal**2 + (depth + height_m) ** 2
    for loss_db, passed in ((kinder_db, np.maximum(te, tm)), (harsher_db, np.minimum(te, tm))):
        flux = 10 ** (-loss_db / 10) / passed / (4 * math.pi * straight)
        per_m = flux * air * 2 * math.pi * horizontal
        through = float(np.sum((per_m[1:] + per_m[:-1]) / 2 * np.diff(horizontal)))
        assert through == pytest.approx((1 - math.sqrt(1 - 1 / n**2)) / 2, rel=0.003)


@given(depths_m, distances_m, st.floats(0.0, 10.0))
def test_the_margin_is_the_sum_of_its_parts(
    depth_m: float, horizontal_m: float, wetness_percent: float
) -> None:
    found = at(depth_m, horizontal_m, wetness_percent=wetness_percent, radio=EXACT)
    without = 90.0 - found.free_space_db
    kind, harsh = (found.snow_db[end] + found.surface_db[end] for end in (0, 1))
    assert found.low_db >= without - harsh - 1e-9  # no worse than all worst parts at once
    assert found.high_db <= without - kind + 1e-9
    assert found.low_db <= found.high_db


def test_the_loss_in_snow_is_that_of_the_slanted_way() -> None:
    straight_up = at(1.0, 0.0, radio=EXACT)
    snow = snow_loss(300.0, 3.0)
    assert straight_up.snow_db == pytest.approx((snow.low_db_m, snow.high_db_m))
    flat = at(1.0, 50.0, radio=EXACT)
    for end, model in ((0, snow.models[1]), (1, snow.models[0])):
        longest_m = 1 / math.sqrt(1 - 1 / model.refractive_index**2)  # at the critical angle
        assert flat.snow_db[end] == pytest.approx(model.loss_db_m * longest_m, rel=0.01)


@given(depths_m, distances_m, st.floats(0.5, 2.0))
def test_deeper_in_wet_snow_leaves_less(depth_m: float, horizontal_m: float, more_m: float) -> None:
    before, after = at(depth_m, horizontal_m), at(depth_m + more_m, horizontal_m)
    assert after.low_db < before.low_db
    assert after.high_db < before.high_db


@given(depths_m, st.floats(0.0, 50.0), st.floats(0.5, 10.0))
def test_farther_off_leaves_less(depth_m: float, horizontal_m: float, more_m: float) -> None:
    before, after = at(depth_m, horizontal_m), at(depth_m, horizontal_m + more_m)
    assert after.low_db < before.low_db
    assert after.high_db < before.high_db


@given(depths_m, distances_m, st.floats(0.0, 5.0))
def test_wetter_leaves_less(depth_m: float, horizontal_m: float, wetness_percent: float) -> None:
    drier = at(depth_m, horizontal_m, 310 + 10 * wetness_percent, wetness_percent)
    wetter = at(depth_m, horizontal_m, 320 + 10 * wetness_percent, wetness_percent + 1)
    assert wetter.low_db < drier.low_db
    assert wetter.high_db < drier.high_db


@pytest.mark.parametrize(
    ("change", "low_db", "high_db"),
    [
        ({"transmit_dbm": 5.0}, 5.0, 5.0),
        ({"sensitivity_dbm": -95.0}, 5.0, 5.0),
        ({"device_antenna_db": Band(-8.0, 1.0)}, -8.0, 1.0),
        ({"reader_antenna_db": Band(-3.0, 2.0)}, -3.0, 2.0),
        ({"fading_db": Band(1.0, 12.0)}, -12.0, -1.0),
    ],
)
def test_each_assumption_moves_its_end_of_the_band(
    change: dict[str, float | Band], low_db: float, high_db: float
) -> None:
    plain, changed = at(1.0, 10.0, radio=EXACT), at(1.0, 10.0, radio=replace(EXACT, **change))
    assert changed.low_db - plain.low_db == pytest.approx(low_db)
    assert changed.high_db - plain.high_db == pytest.approx(high_db)
    assert changed.radio == replace(EXACT, **change)


def test_twice_the_height_of_the_reader_gives_6_db_in_flat_rays() -> None:
    lower, higher = (at(1.0, 50.0, radio=replace(EXACT, reader_height_m=h)) for h in (0.5, 1.0))
    assert higher.high_db - lower.high_db == pytest.approx(6.0, abs=0.5)


def test_depths_and_distances_broadcast() -> None:
    depth_m, horizontal_m = np.array([[0.5], [1.5]]), np.array([0.0, 5.0, 20.0])
    found = margin(depth_m, horizontal_m, density_kg_m3=300, wetness_percent=3)
    assert found.low_db.shape == found.high_db.shape == (2, 3)
    one = at(1.5, 5.0)
    assert found.low_db[1, 1] == pytest.approx(float(one.low_db))
    assert found.high_db[1, 1] == pytest.approx(float(one.high_db))


def test_a_margin_is_used_up_where_it_crosses_nought() -> None:
    snow = {"density_kg_m3": 300.0, "wetness_percent": 3.0}
    depth = depth_used_up_m(2.0, radio=EXACT, **snow)
    assert 0 < depth.low < depth.high < 5
    assert at(depth.low, 2.0, radio=EXACT).low_db == pytest.approx(0.0, abs=0.01)
    assert at(depth.high, 2.0, radio=EXACT).high_db == pytest.approx(0.0, abs=0.01)
    distance = distance_used_up_m(1.0, radio=EXACT, **snow)
    assert 0 < distance.low < distance.high < 200
    assert at(1.0, distance.low, radio=EXACT).low_db == pytest.approx(0.0, abs=0.01)
    assert at(1.0, distance.high, radio=EXACT).high_db == pytest.approx(0.0, abs=0.01)


def test_used_up_at_once_and_not_at_all() -> None:
    wet, dry = ({"density_kg_m3": 400.0, "wetness_percent": w} for w in (8.0, 0.0))
    assert depth_used_up_m(60.0, **wet).low == 0.0
    assert depth_used_up_m(1.0, radio=EXACT, **dry) == Band(math.inf, math.inf)


def test_the_verdict_follows_the_band() -> None:
    assert at(0.5, 1.0, wetness_percent=0.0).verdict == "holds"
    assert at(1.0, 5.0).verdict == "unsure"
    assert at(2.0, 50.0, wetness_percent=8.0).verdict == "fails"


def test_what_the_models_say_is_passed_on_and_flat_rays_are_named() -> None:
    far, near = at(1.0, 50.0), at(1.0, 1.0)
    assert set(near.said) == set(near.snow.said) != set()
    assert [words for words in far.said if words not in far.snow.said] == [
        "The path leaves the snow at about 1.1 degrees above the surface; below 5 degrees the "
        "shape of the snow decides what the surface takes."
    ]
    assert any("half in the air" in words for words in at(0.05, 1.0).said)
    assert not any("half in the air" in words for words in near.said)


@pytest.mark.parametrize(
    ("depth_m", "horizontal_m", "words"),
    [(-0.1, 1.0, "a depth"), (math.nan, 1.0, "a depth"), (1.0, -1.0, "a distance")],
)
def test_a_place_that_cannot_be_is_refused(depth_m: float, horizontal_m: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        at(depth_m, horizontal_m)


def test_impossible_snow_radios_and_bands_are_refused() -> None:
    with pytest.raises(ValueError, match="heavier than ice"):
        at(1.0, 1.0, density_kg_m3=950.0, wetness_percent=0.0)
    with pytest.raises(ValueError, match="above the snow"):
        Radio(reader_height_m=0.0)
    with pytest.raises(ValueError, match="sensitivity_dbm is not a number"):
        Radio(sensitivity_dbm=math.nan)
    with pytest.raises(ValueError, match="no inside"):
        Band(1.0, 0.0)
    with pytest.raises(ValueError, match="above zero"):
        free_space_db(0.0)
    with pytest.raises(ValueError, match="not possible"):
        depth_used_up_m(1.0, density_kg_m3=300, wetness_percent=1, deepest_m=0.0)
