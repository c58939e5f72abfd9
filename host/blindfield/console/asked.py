"""What a person asks of the draw on the command line, and the problem that comes of it."""

from __future__ import annotations

import argparse
import math
import secrets
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from blindfield.console.entries import add_band_argument, band_of
from blindfield.drills.catalogue import Catalogue, catalogue_of
from blindfield.drills.choice import SEEDS, choose, recorded
from blindfield.drills.draw import Pulses, draw, work_of
from blindfield.drills.drill import Aid, Drill
from blindfield.drills.feasible import Ground, ground_of
from blindfield.drills.geometry import DEFAULT_RANGE_M
from blindfield.drills.history import history_of
from blindfield.drills.outlook import Outlook
from blindfield.field.as_built import DEPTH_BAND_M, AsBuilt, DepthBand, as_built
from blindfield.field.receive_range import a_name, earlier
from blindfield.logbook.book import Logbook
from blindfield.model.errors import ConfigError
from blindfield.model.events import Event
from blindfield.model.field import Field
from blindfield.model.scenario import EndOn, Scenario, Work
from blindfield.scoring.standards import Standard, standard_named, standards_of
from blindfield.scoring.technique import shows_clock

RANGE_SPAN_M = (5.0, 100.0)
_ANY_DEPTH_M = (-math.inf, math.inf)
DEFAULT_LIMIT_S, LONGEST_LIMIT_S = 600.0, 900.0
NOBODY_NAMED = "searcher"  # as `range` calls whoever walks without a name


@dataclass(frozen=True, kw_only=True)
class Asked:
    """`drill` None: the kind is drawn too; `seed` None: nobody asked for a certain draw;
    `range_m` None: as the logbook knows it, or the usual one."""

    catalogue: Catalogue
    drill: Drill | None = None
    aids: tuple[Aid, ...] = ()
    searcher: str = ""
    knows_places: bool = False
    seed: int | None = None
    time_limit_s: float = 600.0
    end_on: EndOn = "strike"
    pulses: Pulses = "own"
    range_m: float | None = None
    depth_band_m: DepthBand = DEPTH_BAND_M
    standard: Standard | None = None

    @property
    def work(self) -> Work:
        if self.drill is not None:
            return work_of(self.drill, self.end_on)
        return "search and dig" if self.end_on == "dug_out" else "search only"


def add_searcher_arguments(parser: argparse.ArgumentParser) -> None:
    """Who searches, and what they know."""
    parser.add_argument(
        "--searcher", default="", metavar="NAME", help="who searches: the draw looks at their runs"
    )
    parser.add_argument(
        "--knows-places",
        action="store_true",
        help="they know where the targets lie (who buried them does): such runs are kept apart",
    )
    parser.add_argument(
        "--end-on",
        choices=("strike", "dug-out"),
        default="strike",
        help="search only: a target counts as found at the strike; or search and dig: when it is "
        "dug out",
    )
    parser.add_argument(
        "--range",
        type=float,
        metavar="METRES",
        help="how far this searcher's receiver hears a target (default: as last walked, else "
        f"{DEFAULT_RANGE_M:g})",
    )
    add_band_argument(parser)


def asked_of(options: argparse.Namespace, place: Field) -> Asked:
    """Raises ConfigError for what cannot be, before anything is done."""
    catalogue = catalogue_of(place.folder)
    kind = getattr(options, "drill", None)
    low_m, high_m = RANGE_SPAN_M
    if options.range is not None and not low_m <= options.range <= high_m:
        raise ConfigError(
            f"a range of {options.range:g} m is no transceiver's.",
            remedy=f"Give one from {low_m:g} to {high_m:g} m, or leave it out.",
        )
    standard = _standard_of(options, place)
    digs = options.end_on == "dug-out" or (standard is not None and standard.digging)
    return Asked(
        catalogue=catalogue,
        drill=None if kind is None else catalogue.drill_named(kind),
        aids=tuple(map(catalogue.aid_named, getattr(options, "aid", None) or ())),
        searcher=searcher_of(options.searcher),
        knows_places=options.knows_places,
        seed=getattr(options, "seed", None),
        time_limit_s=_limit_s(options, standard),
        end_on="dug_out" if digs else "strike",
        pulses=getattr(options, "pulses", "own"),
        range_m=options.range,
        depth_band_m=band_of(options),
        standard=standard,
    )


def _standard_of(options: argparse.Namespace, place: Field) -> Standard | None:
    name = getattr(options, "standard", None)
    return None if name is None else standard_named(name, standards_of(place.folder))


def _limit_s(options: argparse.Namespace, standard: Standard | None) -> float:
    """The limit asked for, else the standard's; one without a clock has the longest there is."""
    minutes: float | None = getattr(options, "minutes", None)
    if minutes is not None:
        return 60 * minutes
    if standard is None:
        return DEFAULT_LIMIT_S
    return standard.limit_s or LONGEST_LIMIT_S


def searcher_of(text: str) -> str:
    """A name in any script, as it is kept; "" stays that. Raises ConfigError."""
    return a_name(text, "searcher") if text else ""


@dataclass(frozen=True)
class Known:
    """What the logbook tells for a draw. `knew_before`: a run here says they know the places."""

    built: AsBuilt
    outlook: Outlook
    knew_before: bool

    def to_say(self, asked: Asked) -> list[str]:
        """Sentences for whoever starts a run; none tells where anything lies."""
        said = []
        ground = self.outlook.ground
        here = {target.name for target in ground.present} & ground.leave_out
        if here:
            reasons = ", ".join(
                f"{one.name} ({one.out_of_draw(_ANY_DEPTH_M)})"
                for one in self.built.targets
                if one.name in here
            )
            said.append(f"Not in the draw: {reasons}. `blindfield state` says what became of it.")
        if self.knew_before:
            said.append(
                f"{asked.searcher or 'The searcher'} knew the places of this field in an earlier "
                "run: give --knows-places, unless targets were moved since."
            )
        return said


def known_of(
    asked: Asked, place: Field, logbook: Logbook, alive: Collection[str] | None = None
) -> Known:
    """The field as it lies and the outlook for this searcher; `alive` None: nobody was asked."""
    events = logbook.past.of_the_field()
    built = as_built(place, events)
    rows = logbook.past.runs_of(asked.searcher)
    history = history_of(rows, field_name=place.name, knows_places=asked.knows_places)
    ground = _ground(asked, built, alive, _walked_m(asked.searcher, events))
    drills = tuple(drill for drill in asked.catalogue.drills.values() if _fits(drill, asked))
    outlook = Outlook(ground, drills, history, asked.work, asked.knows_places)
    knew = any(row.knows_places and row.field_name == place.name for row in rows)
    return Known(built, outlook, knew and not asked.knows_places)


def _fits(drill: Drill, asked: Asked) -> bool:
    """Whether a kind that is drawn may be this one: it must set what the standard asks for."""
    standard = asked.standard
    if standard is None or drill is asked.drill:
        return True
    return drill.targets == (standard.targets,) and drill.told == standard.told


def _walked_m(searcher: str, events: Sequence[Event]) -> float | None:
    """The mean range that this searcher walked last; of nobody named, that nobody named walked."""
    who = (searcher or NOBODY_NAMED).casefold()
    walked = [test.found for test in earlier(events) if test.found.searcher.casefold() == who]
    return walked[-1].mean_m if walked else None


def _ground(
    asked: Asked, built: AsBuilt, alive: Collection[str] | None, walked_m: float | None
) -> Ground:
    """Depth is for each drill to judge; whatever else keeps a target out of the draw holds."""
    out = [one.name for one in built.targets if one.out_of_draw(_ANY_DEPTH_M)]
    return ground_of(
        built.field,
        alive,
        leave_out=out,
        linked=alive,
        range_m=asked.range_m or walked_m or DEFAULT_RANGE_M,
        depth_band_m=asked.depth_band_m,
    )


def scenario_of(asked: Asked, known: Known) -> Scenario:
    """The next problem: of the kind asked for or of the one that is due; with a kind and a seed,
    exactly that one, whatever was drawn before. Raises NotReady."""
    outlook, drill, seed = known.outlook, asked.drill, asked.seed
    why: tuple[str, ...] = ("Asked for by its kind and seed.",)
    if drill is None or seed is None:
        master = secrets.randbelow(SEEDS) if seed is None else seed
        choice = choose(outlook, seed=master, drill=drill)
        drill, seed, why = choice.drill, choice.seed, choice.why
    scenario = draw(
        known.built.field,
        drill,
        seed=seed,
        time_limit_s=asked.time_limit_s,
        end_on=asked.end_on,
        pulses=asked.pulses,
        ground=outlook.ground,
        aids=asked.aids,
        others=outlook.drills,
    )
    kept = recorded(scenario, why, asked.searcher, asked.knows_places)
    name = asked.standard.name if asked.standard else ""
    return replace(kept, standard=name, clock_shown=shows_clock(asked.standard))
