"""The dipole against a school book, a library that computes magnets, and listed figures of it.

NCERT Physics XII, Example 5.4: seen quoted in another source. magpylib 6.3.0 (BSD 2-clause) is
called, not copied; the listed figures were computed by it. The field of a loop on its axis,
H = I a^2 / (2 (a^2 + r^2)^(3/2)), is any textbook's, from memory.
"""

from __future__ import annotations

import math

import magpylib
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blindfield.physics.dipole import field_a_m, magnitude_a_m
from support.rotations import random_offsets

MU_0 = 4e-7 * math.pi  # T m/A, to 1e-9 of the measured value
AGREES = 1e-12  # relative to the length of the field
NINE_FIGURES = 5e-9  # as listed
TWO_FIGURES = 0.02  # as printed

LISTED = [
    ((0.0, 0.0, 10.0), (0.0, 0.0, 1.0), (0.0, 0.0, 1.591549431e-4)),
    ((10.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, -7.957747155e-5)),
    ((3.0, -4.0, 5.0), (1e-3, 2e-3, -0.5e-3), (-5.28935836e-7, -4.50158158e-8, -3.93888388e-7)),
]
Vector = tuple[float, float, float]


@pytest.mark.parametrize(
    ("offset_m", "tesla"),
    [((0.5, 0.0, 0.0), 3.2e-7), ((0.0, 0.0, 0.5), 6.4e-7)],
    ids=["equatorial", "axial"],
)
def test_the_bar_magnet_of_the_school_book(offset_m: Vector, tesla: float) -> None:
    field = field_a_m(np.array(offset_m), np.array([0.0, 0.0, 0.40]))
    assert MU_0 * magnitude_a_m(field) == pytest.approx(tesla, rel=TWO_FIGURES)


@pytest.mark.parametrize(("offset_m", "moment_a_m2", "wanted"), LISTED)
def test_the_listed_fields(offset_m: Vector, moment_a_m2: Vector, wanted: Vector) -> None:
    field = field_a_m(np.array(offset_m), np.array(moment_a_m2))
    assert field.tolist() == pytest.approx(wanted, rel=NINE_FIGURES)


@given(st.integers(0, 2**32 - 1))
def test_any_dipole_as_magpylib_has_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    offset_m = random_offsets(rng, 200)
    moment = rng.normal(size=(200, 3)) * np.exp(rng.uniform(-9.0, 3.0, (200, 1)))
    theirs = magpylib.core.dipole_Hfield(offset_m, moment)
    wrong = magnitude_a_m(field_a_m(offset_m, moment) - theirs)
    assert np.all(wrong <= AGREES * magnitude_a_m(theirs))


@pytest.mark.parametrize(("distance_m", "decibel"), [(0.5, -0.130), (1.0, -0.0325)])
def test_a_loop_of_ten_centimetres_is_nearly_a_dipole(distance_m: float, decibel: float) -> None:
    radius_m, current_a = 0.05, 1.0
    on_axis = current_a * radius_m**2 / (2.0 * (radius_m**2 + distance_m**2) ** 1.5)
    moment = np.array([0.0, 0.0, current_a * math.pi * radius_m**2])
    dipole = float(magnitude_a_m(field_a_m(np.array([0.0, 0.0, distance_m]), moment)))
    assert 20.0 * math.log10(on_axis / dipole) == pytest.approx(decibel, abs=0.0005)
