"""Par: the times of a modelled searcher on one problem. A model, never people.

Every band is over all searchers: who gave up counts as longer than anyone who finished.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from blindfield.physics.arrays import Floats
from blindfield.searcher.legs import (
    Pace,
    Times,
    median_error,
    paced,
    quantile,
    times_of,
    wilson,
)
from blindfield.searcher.values import Phase, Problem, Walks

if TYPE_CHECKING:
    from blindfield.searcher.cache import ParCache
    from blindfield.searcher.profiles import Profile

LABEL = "model"
COUNT, SEED = 500, 1
SILENT_AFTER_S = 1200.0  # targets fall silent after 20 min in any case: nobody can search longer
LOW, HIGH = 0.1, 0.9
_SHARES = tuple(percent / 100 for percent in range(1, 100))

Centiles = tuple[float | None, ...]


@dataclass(frozen=True)
class Band:
    """Seconds within which 10 %, half and 90 % of all searchers were done; None: that many were
    not, within the time that `Par.within_s` says."""

    low: float | None
    median: float | None
    high: float | None


@dataclass(frozen=True)
class Chance:
    """A share of the searchers, and its 95 % interval (Wilson)."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Par:
    """What `count` modelled searchers needed. Times in seconds; always a model (`label`).

    `legs`: start to first find, first to second ..., each to the strike; `digging`: each find's
    strike to its being dug out, empty where the search ends on the strike; a leg that was never
    begun counts as not reached. `phases`: over the whole search, those that happened to anybody.
    Their medians do not add up to that of the `whole`. `in_time`: done within `time_limit_s`.
    `unfinished`: share not done `within_s`. `median_error_s`: standard error of the whole's
    median, None where it cannot be told.
    `leg_centiles`, `whole_centiles`: the 1st to 99th percentile.
    """

    profile: str
    count: int
    seed: int
    title: str
    targets: int
    time_limit_s: float
    within_s: float
    whole: Band
    legs: tuple[Band, ...]
    digging: tuple[Band, ...]
    phases: Mapping[Phase, Band]
    in_time: Chance
    unfinished: float
    median_error_s: float | None
    leg_centiles: tuple[Centiles, ...]
    whole_centiles: Centiles
    pace: Pace = field(default_factory=Pace)
    label: str = LABEL

    def faster(self, seconds: float, leg: int | None = None) -> float:
        """Share of the modelled searchers, to 0.01, who needed less than `seconds` for leg 1, 2 ...
        or, for None, the whole."""
        centiles = self.whole_centiles if leg is None else self.leg_centiles[leg - 1]
        return share_below(centiles, seconds)

    def to_json(self) -> dict[str, Any]:
        """Plain JSON values; `par_from_json` is the inverse."""
        phases = {phase.name.lower(): asdict(band) for phase, band in self.phases.items()}
        return {**_plain(self), "phases": phases}


def _plain(par: Par) -> dict[str, Any]:
    values = {name: getattr(par, name) for name in par.__dataclass_fields__}
    values["legs"] = [asdict(band) for band in par.legs]
    values["digging"] = [asdict(band) for band in par.digging]
    values["leg_centiles"] = [list(centiles) for centiles in par.leg_centiles]
    values["whole_centiles"] = list(par.whole_centiles)
    for name in ("whole", "in_time", "pace"):
        values[name] = asdict(values[name])
    return values


def par_from_json(data: Mapping[str, Any]) -> Par:
    """The inverse of `Par.to_json`. Raises ValueError for anything else."""
    try:
        values = dict(data)
        if values["label"] != LABEL:
            raise ValueError(f"a par is a {LABEL}, not {values['label']!r}")
        values["whole"] = Band(**values["whole"])
        values["legs"] = tuple(Band(**band) for band in values["legs"])
        values["digging"] = tuple(Band(**band) for band in values["digging"])
        values["phases"] = {
            Phase[name.upper()]: Band(**band) for name, band in values["phases"].items()
        }
        values["in_time"] = Chance(**values["in_time"])
        values["pace"] = Pace(**values["pace"])
        values["leg_centiles"] = tuple(tuple(one) for one in values["leg_centiles"])
        values["whole_centiles"] = tuple(values["whole_centiles"])
        return Par(**values)
    except (KeyError, TypeError, AttributeError) as error:
        raise ValueError(f"this is no par: {error!r}") from error


def share_below(centiles: Centiles, seconds: float) -> float:
    """Share of the searchers faster than `seconds`, from the 1st to 99th percentile."""
    reached = [one for one in centiles if one is not None]
    if not reached:
        return 0.0
    last = 1.0 if len(reached) == len(centiles) else len(reached) / 100
    shares = np.arange(1, len(reached) + 1) / 100
    return float(np.interp(seconds, reached, shares, left=0.0, right=last))


def par_of(
    problem: Problem,
    profile: Profile,
    *,
    count: int = COUNT,
    seed: int = SEED,
    cache: ParCache | None = None,
    pace: Pace | None = None,
) -> Par:
    """The par of `problem` for `count` searchers of `profile`, the same for the same seed.

    `cache` serves one that was computed before by this same model. `pace` is somebody's own, as
    `refit` finds it. Raises ConfigError for a problem that cannot be walked or a count below 1.
    """
    own = pace or Pace()
    if cache is not None:
        kept = cache.get(problem, profile, count=count, seed=seed, pace=own)
        if kept is not None:
            return kept
    from blindfield.searcher.walk import walk

    until_s = max(problem.time_limit_s, SILENT_AFTER_S)
    walks = walk(problem, profile, count=count, seed=seed, until_s=until_s)
    par = par_from(walks, problem, profile.name, seed=seed, pace=own)
    if cache is not None:
        cache.put(par, problem, profile, count=count, seed=seed, pace=own)
    return par


def par_from(
    walks: Walks, problem: Problem, profile_name: str, *, seed: int, pace: Pace | None = None
) -> Par:
    """The par of searches that were walked, until 20 min or the time limit, whichever is longer.

    Raises ValueError where `walks` are empty or of another problem.
    """
    until_s = max(problem.time_limit_s, SILENT_AFTER_S)
    times = paced(times_of(walks, problem), pace or Pace(), until_s=until_s)
    whole_s = times.whole_s
    targets = len(problem.sources)
    digs = problem.end_on == "dug_out"
    return Par(
        profile=profile_name,
        count=whole_s.size,
        seed=seed,
        title=problem.title,
        targets=targets,
        time_limit_s=problem.time_limit_s,
        within_s=until_s,
        whole=band_of(whole_s),
        legs=tuple(band_of(times.leg_s[:, leg]) for leg in range(targets)),
        digging=tuple(band_of(times.dig_s[:, leg]) for leg in range(targets)) if digs else (),
        phases=_phases(times),
        in_time=_chance(whole_s <= problem.time_limit_s),
        unfinished=float(np.isinf(whole_s).mean()),
        median_error_s=median_error(whole_s),
        leg_centiles=tuple(_centiles(times.leg_s[:, leg]) for leg in range(targets)),
        whole_centiles=_centiles(whole_s),
        pace=pace or Pace(),
    )


def band_of(values_s: Floats) -> Band:
    """10 %, median and 90 % of `values_s`, in which inf stands for "not reached"."""
    return Band(*(_known(quantile(values_s, share)) for share in (LOW, 0.5, HIGH)))


def _known(seconds: float) -> float | None:
    return seconds if np.isfinite(seconds) else None


def _centiles(values_s: Floats) -> Centiles:
    return tuple(_known(quantile(values_s, share)) for share in _SHARES)


def _phases(times: Times) -> dict[Phase, Band]:
    """What an unfinished search would still have needed of a phase is unknown: inf in each."""
    happened = np.nansum(times.phase_s, axis=(0, 1)) > 0
    total_s = times.phase_s.sum(axis=1)
    total_s[np.isinf(times.whole_s)] = np.inf
    shown = [phase for phase in Phase if happened[phase]]
    return {phase: band_of(total_s[:, phase]) for phase in shown}


def _chance(done: np.ndarray[Any, np.dtype[np.bool_]]) -> Chance:
    hits = int(done.sum())
    return Chance(hits / done.size, *wilson(hits, done.size))
