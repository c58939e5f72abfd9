"""Par as tables for people: times only, never a name or a place of a target."""

from __future__ import annotations

from rich import box
from rich.table import Table

from blindfield.console.own_legs import Walked
from blindfield.debrief.words import whole_text
from blindfield.searcher.par import Band, Par
from blindfield.searcher.refit import Beside, Observed, Refit
from blindfield.searcher.values import Phase

ORDINALS = ("start", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
PHASE_WORDS = {
    Phase.SIGNAL_SEARCH: "signal search",
    Phase.COARSE_SEARCH: "coarse search",
    Phase.FINE_SEARCH: "fine search",
    Phase.PINPOINTING: "pinpointing",
    Phase.MARKING: "marking",
    Phase.RETURN: "going back",
    Phase.BACKUP: "micro search strips or three circles",
    Phase.EXCAVATION: "excavation",
}
NEVER = "longer"
FASTER = '"faster": modelled searchers who needed less.'


def clock_text(seconds: float | None) -> str:
    """m:ss, cut off at the second as everywhere. None: not reached by so many."""
    return NEVER if seconds is None else whole_text(seconds)


def band_text(band: Band) -> str:
    return f"{clock_text(band.low)} to {clock_text(band.high)}"


def of_100(share: float) -> str:
    """Never rounded to none or to all."""
    if 0 < share < 0.005:
        return "under 1 of 100"
    if 0.995 < share < 1:
        return "over 99 of 100"
    return f"{round(100 * share)} of 100"


def leg_words(leg: int) -> str:
    """1: "start to first"."""
    return f"{_ordinal(leg - 1)} to {_ordinal(leg)}"


def _ordinal(number: int) -> str:
    return ORDINALS[number] if number < len(ORDINALS) else f"{number}th"


def par_table(par: Par, made: Walked | None = None, *, ascii_only: bool = False) -> Table:
    """The legs, the digging, the whole and the phases; beside them the run that was `made`."""
    table = _table("", "par", "10 to 90 %", *(() if made is None else ("this run", "faster")))
    table.box = box.ASCII2 if ascii_only else table.box
    done = {one.leg: one for one in made.legs} if made else {}
    dug_s = made.digging_s if made else {}
    for leg, band in enumerate(par.legs, 1):
        table.add_row(leg_words(leg), *_band_cells(band), *_leg_cells(par, done.get(leg)))
        if par.digging:
            seconds = dug_s.get(leg)
            walked = () if seconds is None else (clock_text(seconds),)
            table.add_row(f"digging, {_ordinal(leg)}", *_band_cells(par.digging[leg - 1]), *walked)
    whole_s = made.whole_s if made else None
    total = () if whole_s is None else (clock_text(whole_s), of_100(par.faster(whole_s)))
    table.add_row("whole", *_band_cells(par.whole), *total, style="bold")
    table.add_section()
    for phase, band in par.phases.items():
        if band.median != 0 or band.high:  # else nothing that could be told
            table.add_row(PHASE_WORDS[phase], *_band_cells(band))
    return table


def beside_table(par: Par, made: Walked, *, ascii_only: bool = False) -> Table:
    """What a debrief needs: each leg of the run, and by when the modelled searchers were done."""
    table = _table("", "you", "half of them by", "nine of ten by", "faster than you")
    table.box = box.ASCII2 if ascii_only else table.box
    for leg in made.legs:
        band = par.legs[leg.leg - 1]
        table.add_row(leg_words(leg.leg), _walked_text(leg), *_by(band), _place(par, leg))
    if par.digging:
        for number, seconds in sorted(made.digging_s.items()):
            digging = par.digging[number - 1]
            words = f"digging, {_ordinal(number)}"
            table.add_row(words, clock_text(seconds), *_by(digging), "")
    if made.whole_s is not None:
        ahead = of_100(par.faster(made.whole_s))
        cells = (clock_text(made.whole_s), *_by(par.whole), ahead)
        table.add_row("whole", *cells, style="bold")
    return table


def _by(band: Band) -> tuple[str, str]:
    return clock_text(band.median), clock_text(band.high)


def _place(par: Par, leg: Observed) -> str:
    return "" if leg.censored else of_100(par.faster(leg.seconds, leg.leg))


def _band_cells(band: Band) -> tuple[str, str]:
    return clock_text(band.median), band_text(band)


def _leg_cells(par: Par, leg: Observed | None) -> tuple[str, ...]:
    return () if leg is None else (_walked_text(leg), of_100(par.faster(leg.seconds, leg.leg)))


def _walked_text(leg: Observed) -> str:
    return f"not in {clock_text(leg.seconds)}" if leg.censored else clock_text(leg.seconds)


def par_lines(par: Par) -> list[str]:
    """What belongs beside the table: how many, by when, how well known."""
    chance = par.in_time
    by = f"Done within {clock_text(par.time_limit_s)}"
    lines = [
        f"{by}: {of_100(chance.share)} (95 %: {100 * chance.low:.0f} to {100 * chance.high:.0f})."
    ]
    if par.unfinished:
        lines.append(
            f"Not done within {clock_text(par.within_s)}: {of_100(par.unfinished)}. "
            f'They are in every line, as "{NEVER}".'
        )
    if par.median_error_s is not None:
        lines.append(
            f"{par.count} searches; standard error of the whole's par {par.median_error_s:.1f} s. "
            "The lines do not add up to it."
        )
    return lines


def refit_table(refit: Refit) -> Table:
    """Model against people, leg by leg."""
    table = _table("run", "leg", "walked", "model", "10 to 90 %", "faster")
    for row in refit.rows:
        table.add_row(*_refit_cells(row))
    return table


def _refit_cells(row: Beside) -> tuple[str, ...]:
    return (
        row.observed.label,
        leg_words(row.observed.leg),
        _walked_text(row.observed),
        clock_text(row.model.median),
        band_text(row.model),
        of_100(row.faster),
    )


def refit_lines(refit: Refit) -> list[str]:
    """What the refit found."""
    finished = sum(not row.observed.censored for row in refit.rows)
    spread = (
        f"spread {refit.pace.spread:.2f} times the model's"
        if refit.spread_fitted
        else "too few legs to judge the spread"
    )
    return [
        f"The runs of this logbook took {refit.pace.time:.2f} times as long as the modelled "
        f"{refit.profile} searcher (95 %: {refit.time_low:.2f} to {refit.time_high:.2f}; "
        f"{finished} legs walked, {len(refit.rows) - finished} broken off); {spread}.",
        f"{FASTER} Few legs are drawn toward the model.",
    ]


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, header_style="dim", pad_edge=False, show_edge=False)
    for place, name in enumerate(columns):
        table.add_column(name, justify="left" if place == 0 or name == "leg" else "right")
    return table
