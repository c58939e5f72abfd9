"""Loss of a radio wave near 2.4 GHz in snow: a band over models, never one number.

Three models stand side by side, because they differ by a factor of 1.3 to 2.4 and nothing at hand
says which is right. Densities are those of the snow as it lies, ice and water together, in kg/m3;
wetness is liquid water in percent of the volume. Everything at 0 degrees Celsius: the only
temperature of wet snow, and that of the highest loss in dry snow. Scattering is left out: grains
of millimetres are small against a wave of 12 cm. Not for 457 kHz, where snow is transparent and
none of these models holds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from blindfield.physics.arrays import Floats

Complexes = NDArray[np.complex128]

RADIO_HZ = 2.44e9  # middle of the 2.4 GHz band
LIGHT_M_S = 299_792_458.0
ICE_KG_M3 = 916.7  # at 0 degrees Celsius
WATER_KG_M3 = 1000.0
DB_PER_NEPER = 20 / math.log(10)

# Where the models are said to hold, in GHz, percent of water and g/cm3 of dry snow.
HALLIKAINEN_GHZ = (3.0, 37.0)
HALLIKAINEN_PERCENT = (1.0, 12.0)
HALLIKAINEN_DRY_G_CM3 = (0.09, 0.38)
TIURI_PERCENT = 6.0  # quoted beside the equations in public code
TIURI_GHZ = (0.5, 1.0)  # the wet equations, as quoted beside them in public code


@dataclass(frozen=True)
class ModelLoss:
    """One model's answer: relative permittivity (loss positive) and loss in dB per metre."""

    model: str
    permittivity: complex
    loss_db_m: float

    @property
    def refractive_index(self) -> float:
        return float(np.sqrt(self.permittivity).real)


@dataclass(frozen=True)
class SnowLoss:
    """The band over all models, each model's own answer, and what has to be said about it."""

    density_kg_m3: float
    wetness_percent: float
    frequency_hz: float
    low_db_m: float
    high_db_m: float
    models: tuple[ModelLoss, ...]
    said: tuple[str, ...]


def snow_loss(
    density_kg_m3: float, wetness_percent: float, frequency_hz: float = RADIO_HZ
) -> SnowLoss:
    """The loss per metre of snow by every model, and the band from the lowest to the highest.

    Outside the range of a model its value is computed all the same and `said` holds a sentence
    about it. Raises ValueError when such snow cannot exist: a density of nothing or above that of
    ice, a negative wetness, more water than the snow weighs; and for a frequency that is not
    positive.
    """
    _possible(density_kg_m3, wetness_percent, frequency_hz)
    density, water = np.asarray(float(density_kg_m3)), np.asarray(wetness_percent / 100)
    models = tuple(
        ModelLoss(name, complex(eps), float(loss_db_m(np.asarray(eps), frequency_hz)))
        for name, eps in (
            ("Maetzler", maetzler(density, water, frequency_hz)),
            ("Hallikainen", hallikainen(density, water, frequency_hz)),
            ("Tiuri", tiuri(density, water, frequency_hz)),
        )
    )
    losses = [model.loss_db_m for model in models]
    said = _said(density_kg_m3, wetness_percent, frequency_hz)
    return SnowLoss(
        density_kg_m3, wetness_percent, frequency_hz, min(losses), max(losses), models, said
    )


def loss_db_m(permittivity: Complexes, frequency_hz: float) -> Floats:
    """Loss of a plane wave in dB per metre: 8.686 * 2 pi f / c * Im sqrt(permittivity)."""
    wave_per_m = 2 * math.pi * frequency_hz / LIGHT_M_S
    return np.asarray(DB_PER_NEPER * wave_per_m * np.sqrt(permittivity).imag)


def wetness_class(wetness_percent: float) -> str:
    """dry, moist, wet, very wet or slush: International Classification for Seasonal Snow on the
    Ground, limits 0, 3, 8 and 15 % by volume, from memory."""
    if not wetness_percent > 0:
        return "dry"
    limits = ((3.0, "moist"), (8.0, "wet"), (15.0, "very wet"))
    return next((name for limit, name in limits if wetness_percent <= limit), "slush")


def tiuri_dry(dry_g_cm3: Floats, frequency_hz: float) -> Complexes:
    """Dry snow: eps' = 1 + 1.7 d + 0.7 d^2, d in g/cm3; eps'' = 1.59e6 (0.52 d + 0.62 d^2)
    (1/f + 1.23e-14 sqrt f) at 0 degrees, f in Hz.

    Tiuri et al. 1984, IEEE J. Oceanic Eng. 9(5):377-382; coefficients as in public scientific code
    that cites the paper.
    """
    by_frequency = 1 / frequency_hz + 1.23e-14 * math.sqrt(frequency_hz)
    imaginary = 1.59e6 * (0.52 * dry_g_cm3 + 0.62 * dry_g_cm3**2) * by_frequency
    return np.asarray(1 + 1.7 * dry_g_cm3 + 0.7 * dry_g_cm3**2 + 1j * imaginary)


def tiuri(density_kg_m3: Floats, water: Floats, frequency_hz: float) -> Complexes:
    """Wet snow: `tiuri_dry` of its ice plus (0.1 W + 0.8 W^2) times water's permittivity.

    W is water by volume. Tiuri et al. 1984; the form is from memory, and near 1 GHz it is the one
    that public code quotes from the paper (8.7 W + 70 W^2; f (0.9 W + 7.5 W^2), f in GHz), there
    for 0.5-1 GHz and up to 6 %.
    """
    dry_g_cm3 = (density_kg_m3 - WATER_KG_M3 * water) / 1000
    wet = (0.1 * water + 0.8 * water**2) * water_permittivity(frequency_hz)
    return np.asarray(tiuri_dry(dry_g_cm3, frequency_hz) + wet)


def hallikainen(density_kg_m3: Floats, water: Floats, frequency_hz: float) -> Complexes:
    """The modified Debye form of Hallikainen, Ulaby and Abdelrazik 1986 in the form of Ulaby and
    Long 2014, eqs 4.60-4.61, as in public scientific code that cites them.

    eps' = A + B mv^1.31/(1 + (f/9.07)^2), eps'' = C (f/9.07) mv^1.31/(1 + (f/9.07)^2), f in GHz,
    mv in percent. Density of the dry snow: the ice over the volume that water leaves. Holds for
    3-37 GHz, 1-12 %, 0.09-0.38 g/cm3 of dry snow. Dry snow has no loss in this form.
    """
    f_ghz = frequency_hz / 1e9
    mv = 100 * water
    dry_g_cm3 = (density_kg_m3 - WATER_KG_M3 * water) / (1 - water) / 1000
    a1 = 0.78 + 0.03 * f_ghz - 0.58e-3 * f_ghz**2
    a2 = 0.97 - 0.39e-2 * f_ghz + 0.39e-3 * f_ghz**2
    b1 = 0.31 - 0.05 * f_ghz + 0.87e-3 * f_ghz**2
    ratio = f_ghz / 9.07
    debye = 0.073 * mv**1.31 / (1 + ratio**2)
    real = a1 * (1 + 1.83 * dry_g_cm3 + 0.02 * mv**1.015) + b1 + a1 * debye
    return np.asarray(real + 1j * a2 * ratio * debye)


def maetzler(density_kg_m3: Floats, water: Floats, frequency_hz: float) -> Complexes:
    """Water as thin needles in dry snow, mixed by Maxwell Garnett; dry snow as spheres of ice in
    air by Polder and van Santen.

    Depolarisation factors of the needles 0.005, 0.4975, 0.4975: the form of Maetzler and Wiesmann
    1999 (Remote Sens. Environ. 70(3):317-325), as in public scientific code that cites them. No
    range is given with it.
    """
    ice = (density_kg_m3 - WATER_KG_M3 * water) / ICE_KG_M3
    dry = _spheres_in_air(ice, ice_permittivity(frequency_hz))
    wet = water_permittivity(frequency_hz)
    along, across = (dry / (dry + factor * (wet - dry)) for factor in (0.005, 0.4975))
    field_ratio = (along + 2 * across) / 3
    return np.asarray(
        ((1 - water) * dry + water * wet * field_ratio) / (1 - water * (1 - field_ratio))
    )


def water_permittivity(frequency_hz: float) -> complex:
    """Fresh water at 0 degrees Celsius: two Debye terms, Maetzler and Wegmueller 1987 (J. Phys. D
    20:1623-1630) and Liebe et al. 1991, coefficients as in public scientific code."""
    f_ghz = frequency_hz / 1e9
    theta = 1 - 300 / 273.15
    static = 77.66 - 103.3 * theta
    middle, high = 0.0671 * static, 3.52 + 7.52 * theta
    first_ghz = 20.2 + 146.4 * theta + 316 * theta**2
    return complex(
        high
        + (middle - high) / (1 - 1j * f_ghz / (39.8 * first_ghz))
        + (static - middle) / (1 - 1j * f_ghz / first_ghz)
    )


def ice_permittivity(frequency_hz: float) -> complex:
    """Pure ice at 0 degrees Celsius: 3.1884 + j (alpha/f + beta f), f in GHz.

    Maetzler 2006 (Thermal Microwave Radiation, pp 456-461), coefficients as in public scientific
    code that cites it.
    """
    f_ghz = frequency_hz / 1e9
    theta = 300 / 273.15 - 1
    alpha = (0.00504 + 0.0062 * theta) * math.exp(-22.1 * theta)
    rise = math.exp(335 / 273.15)
    beta = 0.0207 / 273.15 * rise / (rise - 1) ** 2 + 1.16e-11 * f_ghz**2 + math.exp(-9.963)
    return complex(3.1884, alpha / f_ghz + beta * f_ghz)


def _spheres_in_air(share: Floats, inner: complex) -> Complexes:
    """Polder and van Santen for spheres in air: 2 e^2 - e (2 - inner + 3 share (inner - 1)) = inner
    (the root that is 1 without spheres)."""
    middle = 2 - inner + 3 * share * (inner - 1)
    return np.asarray((middle + np.sqrt(middle**2 + 8 * inner)) / 4)


def _possible(density_kg_m3: float, wetness_percent: float, frequency_hz: float) -> None:
    if not (math.isfinite(density_kg_m3) and density_kg_m3 > 0):
        raise ValueError(f"snow weighs something: a density of {density_kg_m3} kg/m3 is none")
    if not (math.isfinite(wetness_percent) and wetness_percent >= 0):
        raise ValueError(f"a wetness of {wetness_percent} % is not possible: 0 is dry")
    water_kg_m3 = WATER_KG_M3 * wetness_percent / 100
    if water_kg_m3 > density_kg_m3:
        raise ValueError(
            f"snow of {density_kg_m3:g} kg/m3 cannot hold {wetness_percent:g} % of water: "
            f"the water alone weighs {water_kg_m3:g} kg/m3"
        )
    solid_kg_m3 = ICE_KG_M3 * (1 - wetness_percent / 100) + water_kg_m3
    if density_kg_m3 > solid_kg_m3:
        raise ValueError(
            f"snow of {density_kg_m3:g} kg/m3 would be heavier than ice without any air "
            f"({solid_kg_m3:.0f} kg/m3 at this wetness)"
        )
    if not (math.isfinite(frequency_hz) and frequency_hz > 0):
        raise ValueError(f"a frequency of {frequency_hz} Hz is not possible")


def _said(density_kg_m3: float, wetness_percent: float, frequency_hz: float) -> tuple[str, ...]:
    water = wetness_percent / 100
    dry_g_cm3 = (density_kg_m3 - WATER_KG_M3 * water) / max(1 - water, 1e-9) / 1000
    inputs = (
        (frequency_hz / 1e9, HALLIKAINEN_GHZ, "GHz"),
        (wetness_percent, HALLIKAINEN_PERCENT, "% of water"),
        (dry_g_cm3, HALLIKAINEN_DRY_G_CM3, "g/cm3 of dry snow"),
    )
    said = [
        f"The Hallikainen model was fitted for {low:g} to {high:g} {unit}; "
        f"{value:.3g} lies outside, the value is computed all the same."
        for value, (low, high), unit in inputs
        if not low <= value <= high
    ]
    if wetness_percent > TIURI_PERCENT:
        said.append(
            f"The Tiuri model is quoted for up to {TIURI_PERCENT:g} % of water; "
            f"{wetness_percent:.3g} lies outside, the value is computed all the same."
        )
    if wetness_percent > 0 and not TIURI_GHZ[0] <= frequency_hz / 1e9 <= TIURI_GHZ[1]:
        said.append(
            f"The wet Tiuri model is quoted for {TIURI_GHZ[0]:g} to {TIURI_GHZ[1]:g} GHz; it "
            f"reaches {frequency_hz / 1e9:.3g} GHz through the permittivity of water, from memory."
        )
    return tuple(said)
