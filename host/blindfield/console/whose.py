"""Whose runs, and which standard: what `progress` and `next` are asked about."""

from __future__ import annotations

import argparse
import difflib
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from blindfield.console.asked import searcher_of
from blindfield.console.own_figures import Own, own_attempts
from blindfield.field.as_built import DEPTH_BAND_M
from blindfield.logbook.book import Logbook
from blindfield.logbook.figures import Figures, Tally
from blindfield.model.errors import ConfigError, LogbookError
from blindfield.model.field import Field
from blindfield.scoring.attempts import Attempt, Goal, counts_towards
from blindfield.scoring.standards import Standard, standard_named, standards_of

SHOWN_NAMES = 8
NOBODY, SOMEBODY = "runs without a name", "somebody new"


@dataclass(frozen=True)
class Whose:
    """`runs`: all closed ones that began; `own`: the latest of them. `goal` None: no run had a time
    limit yet."""

    searcher: str
    runs: int
    own: Own
    goal: Goal | None

    @property
    def name(self) -> str:
        """For a screen: what cannot be printed is left out."""
        shown = "".join(one for one in self.searcher if one.isprintable())
        return shown or (NOBODY if self.runs else SOMEBODY)


def add_whose_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--searcher",
        metavar="NAME",
        help="whose runs (default: whoever searched last)",
    )
    parser.add_argument(
        "--standard",
        metavar="NAME",
        help="by which standard (default: that of the latest run with a time limit)",
    )


def whose(
    options: argparse.Namespace,
    place: Field,
    logbook: Logbook,
    *,
    make_par: bool = False,
    newcomer: bool = False,
) -> Whose:
    """Raises ConfigError for a name that nobody has, LogbookError without any run, unless a
    `newcomer` will do."""
    standards = standards_of(place.folder)
    standard = None if options.standard is None else standard_named(options.standard, standards)
    tallies = Figures(logbook.database).searchers()
    if not tallies and newcomer:
        return Whose(searcher_of(options.searcher or ""), 0, Own((), 0, 0), None)
    if not tallies:
        raise LogbookError(
            f"the logbook {logbook.database.name} holds no closed run yet.",
            remedy="Make one: `blindfield run`.",
        )
    tally = tallies[0] if options.searcher is None else _named(options.searcher, tallies)
    own = own_attempts(logbook, place, tally.searcher, standards, make_par=make_par)
    return Whose(tally.searcher, tally.runs, own, goal_of(own.attempts, standards, standard))


def _named(text: str, tallies: Sequence[Tally]) -> Tally:
    """However it is typed, in any script: capitals and accents' spelling do not matter."""
    name = searcher_of(text)
    for known in tallies:
        if known.searcher == name:
            return known
    alike = [known for known in tallies if _folded(known.searcher) == _folded(name)]
    if len(alike) == 1:
        return alike[0]
    raise ConfigError(f"nobody called {name!r} searched here.", remedy=_meant(name, tallies))


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()


def _meant(name: str, tallies: Sequence[Tally]) -> str:
    names = {_folded(one.searcher): one.searcher for one in tallies if one.searcher}
    near = difflib.get_close_matches(_folded(name), list(names), n=1, cutoff=0.5)
    if near:
        return f"Did you mean {names[near[0]]}?"
    if not names:
        return "No run carries a name: leave --searcher away."
    more = ", ..." if len(names) > SHOWN_NAMES else ""
    return f"Known are {', '.join(list(names.values())[:SHOWN_NAMES])}{more}."


def goal_of(
    attempts: Sequence[Attempt], standards: Mapping[str, Standard], asked: Standard | None = None
) -> Goal | None:
    """The standard that was asked for, or what the latest run with a time limit was for; a run
    without a standard is taken as one of its number of targets and limit, at the usual depth.

    Fresh scenarios of it are of the kinds that were practised for it. None without a clock.
    """
    timed = [one for one in attempts if one.limit_s and one.targets and one.work != "dig only"]
    if asked is not None:
        goal = asked.goal()
    elif timed:
        goal = _goal_like(timed[-1], standards)
    else:
        goal = None
    if goal is None:
        return None
    kinds = dict.fromkeys(one.kind for one in attempts if counts_towards(goal, one))
    return replace(goal, kinds=tuple(kinds))


def _goal_like(latest: Attempt, standards: Mapping[str, Standard]) -> Goal | None:
    assert latest.limit_s is not None
    known = None if latest.standard is None else standards.get(latest.standard)
    if known is not None:
        return known.goal()
    return Goal(
        name=latest.standard or "",
        title=_title(latest),
        work=latest.work,
        targets=latest.targets,
        limit_s=latest.limit_s,
        depth_m=DEPTH_BAND_M,
    )


def _title(one: Attempt) -> str:
    from blindfield.debrief.words import whole_text

    number = "1 target" if one.targets == 1 else f"{one.targets} targets"
    end = "dug out" if one.work == "search and dig" else "found"
    assert one.limit_s is not None
    return one.standard or f"{number} {end} within {whole_text(one.limit_s)}"
