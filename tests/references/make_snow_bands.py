"""Makes snow_bands.json with smrt 1.7; run by hand, not by the tests (smrt is large).

    pip install smrt==1.7
    python tests/references/make_snow_bands.py

smrt: Snow Microwave Radiative Transfer model, GNU Lesser General Public License version 3; Picard,
Sandells and Loewe 2018, Geosci. Model Dev. 11:2763-2788. Only numbers that it computes are kept.
Its `liquid_water` is water over (ice + water) by volume, so it is worked out here from the density
of the snow as it lies and water by volume of the snow.
"""

import json
import math
import warnings
from importlib.metadata import version
from pathlib import Path

import numpy as np
from smrt.permittivity.ice import ice_permittivity_tiuri84
from smrt.permittivity.snow_mixing_formula import (
    wetsnow_permittivity_hallikainen86_ulaby14,
    wetsnow_permittivity_memls,
)

FREQUENCY_HZ = 2.44e9
TEMPERATURE_K = 273.15
DENSITIES_KG_M3 = (100.0, 200.0, 300.0, 400.0, 500.0)
WETNESSES_PERCENT = (0.0, 0.5, 1.0, 2.0, 3.0, 6.0, 9.0, 12.0, 15.0)
LIGHT_M_S = 299_792_458.0
ICE_KG_M3 = 916.7
VERSION = "1.7"


def loss_db_m(permittivity: complex) -> float:
    wave_per_m = 2 * math.pi * FREQUENCY_HZ / LIGHT_M_S
    return 20 / math.log(10) * wave_per_m * float(np.sqrt(complex(permittivity)).imag)


def make_row(density_kg_m3: float, wetness_percent: float) -> dict[str, object]:
    water = wetness_percent / 100
    ice = (density_kg_m3 - 1000 * water) / ICE_KG_M3
    liquid_water = water / (ice + water)
    answers = {
        "Maetzler": wetsnow_permittivity_memls(
            FREQUENCY_HZ, TEMPERATURE_K, density_kg_m3, liquid_water
        ),
        "Hallikainen": wetsnow_permittivity_hallikainen86_ulaby14(
            FREQUENCY_HZ, density_kg_m3, liquid_water
        ),
    }
    return {
        "density_kg_m3": density_kg_m3,
        "wetness_percent": wetness_percent,
        "permittivity": {
            name: [float(f"{value.real:.9g}"), float(f"{value.imag:.9g}")]
            for name, value in answers.items()
        },
        "loss_db_m": {name: float(f"{loss_db_m(eps):.9g}") for name, eps in answers.items()},
    }


def ice_by_tiuri() -> list[float]:
    """The dry equations of Tiuri, which smrt offers for the density of ice alone."""
    value = complex(ice_permittivity_tiuri84(FREQUENCY_HZ, TEMPERATURE_K))
    return [float(f"{value.real:.9g}"), float(f"{value.imag:.9g}")]


def main() -> None:
    if version("smrt") != VERSION:
        raise SystemExit(f"smrt {VERSION} is wanted, this is {version('smrt')}")
    warnings.simplefilter("ignore")
    rows = [
        make_row(density, wetness)
        for density in DENSITIES_KG_M3
        for wetness in WETNESSES_PERCENT
        if 10 * wetness <= 0.9 * density
    ]
    table = {
        "source": f"smrt {VERSION}, computed by make_snow_bands.py",
        "licence_of_smrt": "GNU LGPL version 3; no code of it is here, only computed numbers",
        "functions": {
            "Maetzler": "wetsnow_permittivity_memls",
            "Hallikainen": "wetsnow_permittivity_hallikainen86_ulaby14",
        },
        "frequency_hz": FREQUENCY_HZ,
        "temperature_k": TEMPERATURE_K,
        "tiuri_dry_at_the_density_of_ice": ice_by_tiuri(),
        "rows": [],
    }
    lines = ",\n  ".join(json.dumps(row) for row in rows)
    text = json.dumps(table, indent=1).replace('"rows": []', f'"rows": [\n  {lines}\n ]')
    Path(__file__).with_name("snow_bands.json").write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
