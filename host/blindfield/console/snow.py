"""`blindfield snow +0.20`: the snow over the field, or over one target, changed."""

from __future__ import annotations

import argparse

from blindfield.console.depth import show
from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.entries import (
    add_band_argument,
    add_person_argument,
    band_of,
    number_of,
    open_entries,
)
from blindfield.model.errors import ConfigError

MOST_M = 3.0
CAUSES = ("new snow", "settling", "drift")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "change", metavar="METRES", help="+0.20 after new snow, -0.10 when it settled"
    )
    parser.add_argument("--over", metavar="TARGET", help="over this target alone (drift)")
    parser.add_argument(
        "--cause", choices=CAUSES, help="default: new snow where it rose, settling where it fell"
    )
    parser.epilog = "Depths reckoned so are a guess until somebody probes: blindfield depth."
    add_band_argument(parser)
    add_person_argument(parser)
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    band_m = band_of(options)
    change_m = number_of(options.change, "a change of the snow's depth")
    if change_m == 0 or abs(change_m) > MOST_M:
        raise ConfigError(
            f"the snow cannot have changed by {change_m:g} m.",
            remedy=f"Give metres, up to {MOST_M:g}: +0.20 or -0.10.",
        )
    with open_entries(options) as entries:
        over = entries.place.target_named(options.over).name if options.over else None
        cause = options.cause or (CAUSES[0] if change_m > 0 else CAUSES[1])
        entries.keep("snow", device=over, change_m=change_m, cause=cause)
        names = [over] if over else [target.name for target in entries.place.targets]
        show(entries, names, band_m, options.json)
    return 0
