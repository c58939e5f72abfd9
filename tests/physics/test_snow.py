"""Loss in snow near 2.4 GHz: limits, tendencies, what is said, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.snow import (
    ICE_KG_M3,
    RADIO_HZ,
    hallikainen,
    ice_permittivity,
    loss_db_m,
    maetzler,
    snow_loss,
    tiuri,
    tiuri_dry,
    water_permittivity,
    wetness_class,
)

MODELS = {"Maetzler": maetzler, "Hallikainen": hallikainen, "Tiuri": tiuri}
densities_kg_m3 = st.floats(150.0, 600.0)
wetnesses_percent = st.floats(0.0, 14.0)


@given(densities_kg_m3, wetnesses_percent)
def test_the_band_spans_every_model(density_kg_m3: float, wetness_percent: float) -> None:
    snow = snow_loss(density_kg_m3, wetness_percent)
    losses = {model.model: model.loss_db_m for model in snow.models}
    assert set(losses) == set(MODELS)
    assert (snow.low_db_m, snow.high_db_m) == (min(losses.values()), max(losses.values()))
    assert all(model.refractive_index > 1 for model in snow.models)


@given(densities_kg_m3, st.floats(0.0, 13.0), st.floats(0.1, 1.0))
def test_more_water_in_the_same_ice_takes_more(
    ice_kg_m3: float, wetness_percent: float, more_percent: float
) -> None:
    drier = snow_loss(ice_kg_m3 + 10 * wetness_percent, wetness_percent)
    wetness_percent += more_percent
    wetter = snow_loss(ice_kg_m3 + 10 * wetness_percent, wetness_percent)
    for before, after in zip(drier.models, wetter.models, strict=True):
        assert after.loss_db_m > before.loss_db_m, before.model


@pytest.mark.parametrize("density_kg_m3", [100.0, 300.0, 600.0, ICE_KG_M3])
def test_dry_snow_takes_next_to_nothing(density_kg_m3: float) -> None:
    snow = snow_loss(density_kg_m3, 0.0)
    assert 0.0 <= snow.low_db_m < snow.high_db_m
    assert snow.high_db_m < (0.1 if density_kg_m3 < 400 else 0.3)


def test_no_snow_is_air_and_only_ice_is_ice() -> None:
    nothing, full = np.asarray(1e-9), np.asarray(ICE_KG_M3)
    dry = np.asarray(0.0)
    assert complex(maetzler(nothing, dry, RADIO_HZ)) == pytest.approx(1.0, abs=1e-6)
    assert complex(tiuri(nothing, dry, RADIO_HZ)) == pytest.approx(1.0, abs=1e-6)
    assert complex(maetzler(full, dry, RADIO_HZ)) == pytest.approx(ice_permittivity(RADIO_HZ))
    assert complex(tiuri_dry(full / 1000, RADIO_HZ)).real == pytest.approx(3.1884, abs=0.05)


def test_only_water_is_water_in_the_mixing_model() -> None:
    wet = complex(maetzler(np.asarray(1000.0), np.asarray(1.0), RADIO_HZ))
    assert wet == pytest.approx(water_permittivity(RADIO_HZ), rel=1e-9)
    assert water_permittivity(1e6).real == pytest.approx(87.9, abs=0.3)  # static, 0 degrees


def test_the_models_take_arrays_and_give_what_they_give_for_one() -> None:
    density = np.array([[150.0], [300.0], [450.0]])
    water = np.array([0.0, 0.01, 0.06])
    for name, model in MODELS.items():
        losses = loss_db_m(model(density, water, RADIO_HZ), RADIO_HZ)
        assert losses.shape == (3, 3)
        for row, column in np.ndindex(3, 3):
            snow = snow_loss(float(density[row, 0]), float(100 * water[column]))
            one = next(answer for answer in snow.models if answer.model == name)
            assert losses[row, column] == pytest.approx(one.loss_db_m, rel=1e-9, abs=1e-12)


def test_a_lossless_medium_takes_nothing_and_a_lossy_one_what_the_formula_says() -> None:
    assert loss_db_m(np.asarray(2.0 + 0j), RADIO_HZ) == 0.0
    index = 1.3 + 0.02j
    wave_per_m = 2 * math.pi * RADIO_HZ / 299_792_458
    lost_in_1_m = -20 * math.log10(math.exp(-wave_per_m * 0.02))
    assert float(loss_db_m(np.asarray(index**2), RADIO_HZ)) == pytest.approx(lost_in_1_m)


@pytest.mark.parametrize(
    ("density_kg_m3", "wetness_percent", "frequency_hz", "words"),
    [
        (300.0, 13.0, 5e9, "1 to 12 % of water; 13 lies outside"),
        (300.0, 0.5, 5e9, "1 to 12 % of water; 0.5 lies outside"),
        (600.0, 3.0, 5e9, "0.09 to 0.38 g/cm3 of dry snow; 0.588 lies outside"),
        (80.0, 2.0, 5e9, "0.09 to 0.38 g/cm3 of dry snow; 0.0612 lies outside"),
        (300.0, 3.0, RADIO_HZ, "3 to 37 GHz; 2.44 lies outside"),
        (300.0, 7.0, 5e9, "up to 6 % of water; 7 lies outside"),
        (300.0, 3.0, RADIO_HZ, "0.5 to 1 GHz"),
    ],
)
def test_outside_its_range_a_model_is_computed_and_a_sentence_says_so(
    density_kg_m3: float, wetness_percent: float, frequency_hz: float, words: str
) -> None:
    snow = snow_loss(density_kg_m3, wetness_percent, frequency_hz)
    assert sum(words in sentence for sentence in snow.said) == 1
    assert all(math.isfinite(model.loss_db_m) for model in snow.models)
    assert all(sentence.endswith(".") for sentence in snow.said)


def test_inside_all_ranges_nothing_is_said_of_the_hallikainen_model() -> None:
    assert not any("Hallikainen" in sentence for sentence in snow_loss(300.0, 3.0, 5e9).said)


@pytest.mark.parametrize(
    ("density_kg_m3", "wetness_percent", "words"),
    [
        (0.0, 0.0, "weighs something"),
        (-50.0, 0.0, "weighs something"),
        (math.nan, 0.0, "weighs something"),
        (920.0, 0.0, "heavier than ice"),
        (1000.0, 50.0, "heavier than ice"),
        (300.0, -1.0, "a wetness of -1"),
        (300.0, math.inf, "a wetness of inf"),
        (100.0, 15.0, "the water alone weighs 150"),
    ],
)
def test_snow_that_cannot_exist_is_refused_in_a_sentence(
    density_kg_m3: float, wetness_percent: float, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        snow_loss(density_kg_m3, wetness_percent)


@pytest.mark.parametrize("frequency_hz", [0.0, -1.0, math.nan])
def test_an_impossible_frequency_is_refused(frequency_hz: float) -> None:
    with pytest.raises(ValueError, match="frequency"):
        snow_loss(300.0, 1.0, frequency_hz)


@pytest.mark.parametrize(
    ("wetness_percent", "name"),
    [(0, "dry"), (0.5, "moist"), (3, "moist"), (5, "wet"), (12, "very wet"), (16, "slush")],
)
def test_wetness_has_a_name(wetness_percent: float, name: str) -> None:
    assert wetness_class(wetness_percent) == name
