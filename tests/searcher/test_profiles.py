"""The profiles, and values that no searcher can have."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from blindfield.model.errors import ConfigError
from blindfield.searcher.profiles import EXPERT, NEW, PRACTISED, PROFILES, Profile, profile_named

NUMBERS = [field.name for field in fields(Profile) if field.name not in ("name", "backup")]


def test_there_are_three_profiles_by_name() -> None:
    assert list(PROFILES) == ["new", "practised", "expert"]
    for name in PROFILES:
        assert profile_named(name).name == name


def test_an_unknown_profile_is_answered_with_the_known_ones() -> None:
    with pytest.raises(ConfigError, match=r"no profile 'fast'.* new, practised, expert"):
        profile_named("fast")


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("value", [-0.5, float("nan"), float("inf")])
def test_no_value_may_be_negative_or_no_number(name: str, value: float) -> None:
    with pytest.raises(ConfigError, match=rf"{name} = "):
        replace(PRACTISED, **{name: value})


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("coarse_speed_m_s", 0.0),
        ("signal_speed_m_s", 9.0),
        ("coaxial_range_m", 300.0),
        ("heading_error_deg", 90.0),
        ("miss_rate", 1.0),
        ("push_chance", 1.1),
        ("bracket_crossings", 0),
        ("bracket_crossings", 2.5),
        ("shovellers", 0),
        ("shovellers", 1.5),
        ("probe_step_m", 0.001),
        ("strip_width_m", 0.0),
        ("strip_width_m", 0.1),
        ("dig_rate_m3_s", 0.0),
        ("backup", "guess"),
    ],
)
def test_an_impossible_value_is_named(name: str, value: object) -> None:
    with pytest.raises(ConfigError, match=f"{name} = {value}"):
        replace(PRACTISED, **{name: value})


def test_practice_makes_faster_and_surer() -> None:
    for name in ("signal_speed_m_s", "coarse_speed_m_s", "fine_speed_m_s", "dig_rate_m3_s"):
        assert getattr(NEW, name) < getattr(PRACTISED, name) < getattr(EXPERT, name)
    for name in ("heading_error_deg", "stroke_s", "miss_rate", "reaction_s", "marking_s"):
        assert getattr(NEW, name) > getattr(PRACTISED, name) > getattr(EXPERT, name)
