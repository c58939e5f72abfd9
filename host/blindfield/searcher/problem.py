"""From a drawn scenario on a field to the problem that the modelled searcher is sent into."""

from __future__ import annotations

import math
from typing import NamedTuple

from blindfield.model.errors import ConfigError
from blindfield.model.field import Field, Target
from blindfield.model.scenario import Cue, Part, Scenario
from blindfield.searcher.values import Problem, Source, Starts

_US = 1e-6

EXAMPLE = Problem(
    width_m=50.0,
    height_m=50.0,
    start_x_m=25.0,
    start_y_m=0.0,
    sources=(
        Source("1", 14.0, 22.0, 1.0, azimuth_deg=70.0, tilt_deg=10.0, period_s=0.98),
        Source("2", 37.0, 36.0, 1.0, 160.0, -5.0, period_s=1.04, phase_s=0.45),
    ),
    title="two targets 1 m deep in 50 m x 50 m",
)
"""A made-up problem for a `par` without a field, after the common drill of two targets up to 1 m
deep in 50 m x 50 m (common practice). Places, attitudes and pulses are ours."""


def problem_of(scenario: Scenario, field: Field, *, may_mark: bool = True) -> Problem:
    """The problem that `scenario` sets on `field`.

    A source for each target in play that sends at all, placed as the scenario says, its antenna as
    the field's target of the same name lies (unknown where nobody noted it). A signal that waits
    for the instructor's word begins at its else, since nobody gives a word to a model. Marking is
    forbidden where the drill or `may_mark` says so. Raises
    ConfigError when a target or the start lies outside the field, when none sends, or when a cue
    is one that the modelled searcher cannot play.
    """
    sources = tuple(
        source for part in scenario.in_play if (source := _source(part, scenario, field))
    )
    problem = Problem(
        width_m=field.width_m,
        height_m=field.height_m,
        start_x_m=scenario.start.x_m,
        start_y_m=scenario.start.y_m,
        sources=sources,
        end_on=scenario.end_on,
        time_limit_s=scenario.time_limit_s,
        marking_allowed=may_mark and scenario.marking,
        title=scenario.title,
    )
    check_problem(problem)
    return problem


def check_problem(problem: Problem) -> None:
    """Raises ConfigError for a problem that cannot be walked: it says which value and why."""
    for name in ("width_m", "height_m", "time_limit_s"):
        if not _above_zero(getattr(problem, name)):
            raise ConfigError(f"{name} must be above zero, not {getattr(problem, name)}.")
    if not problem.sources:
        raise ConfigError(
            "no target sends in this problem.", remedy="Put at least one target in play."
        )
    _check_inside(problem, "the start", problem.start_x_m, problem.start_y_m)
    for source in problem.sources:
        _check_inside(problem, f"target {source.name}", source.x_m, source.y_m)
        _check_source(source)


def _check_source(source: Source) -> None:
    who = f"target {source.name}"
    if not _above_zero(source.depth_m):
        raise ConfigError(f"{who}: a depth of {source.depth_m} m is none.")
    if source.moment_a_m2 is not None and not _above_zero(source.moment_a_m2):
        raise ConfigError(f"{who}: a moment of {source.moment_a_m2} A m2 has no field.")
    if not (_above_zero(source.on_s) and 0 < source.on_s < source.period_s < math.inf):
        raise ConfigError(f"{who}: pulses of {source.on_s} s every {source.period_s} s cannot be.")


def _check_inside(problem: Problem, what: str, x_m: float, y_m: float) -> None:
    if not (0 <= x_m <= problem.width_m and 0 <= y_m <= problem.height_m):
        raise ConfigError(
            f"{what} at x = {x_m:g} m, y = {y_m:g} m lies outside the field of "
            f"{problem.width_m:g} m x {problem.height_m:g} m.",
            remedy="Correct its place, or the size of the field, in field.toml.",
        )


def _above_zero(value: float) -> bool:
    return math.isfinite(value) and value > 0


class _Beginning(NamedTuple):
    starts: Starts
    else_s: float | None


def _source(part: Part, scenario: Scenario, field: Field) -> Source | None:
    sends = [cue for cue in part.cues if cue.sends]
    if not sends:
        return None
    begins = _beginning(sends[0], part, scenario)
    if begins.starts == "time" and begins.else_s is None:
        return None
    target = _target(part, field)
    return Source(
        name=part.name,
        x_m=part.x_m,
        y_m=part.y_m,
        depth_m=part.depth_m,
        azimuth_deg=target.antenna_azimuth_deg if target else None,
        tilt_deg=target.antenna_tilt_deg if target else None,
        period_s=part.period_us * _US,
        on_s=part.on_us * _US,
        phase_s=part.phase_us * _US,
        starts=begins.starts,
        else_s=begins.else_s,
        rests_s=_rests_s(part),
    )


def _beginning(cue: Cue, part: Part, scenario: Scenario) -> _Beginning:
    if cue.trigger == "at":
        time_s = cue.time_s or 0.0
        return _Beginning("start", None) if time_s <= 0 else _Beginning("time", time_s)
    if cue.trigger != "on_word":
        raise ConfigError(
            f"target {part.name} begins to send {cue.trigger}: a model cannot play that.",
            remedy="Choose a drill whose signals begin at a time or on a word.",
        )
    given = {rule.word for rule in scenario.words if rule.when == "first_find"}
    return _Beginning("first_find" if cue.word in given else "time", cue.time_s)


def _rests_s(part: Part) -> float | None:
    rests = [cue.time_s or 0.0 for cue in part.cues if _ends_on_strike(cue)]
    return min(rests, default=None)


def _ends_on_strike(cue: Cue) -> bool:
    return not cue.sends and cue.trigger == "on_my_strike"


def _target(part: Part, field: Field) -> Target | None:
    return next((target for target in field.targets if target.name == part.name), None)
