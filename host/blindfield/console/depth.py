"""`blindfield depth`: how deep each target lies; or the depth of one, as probed or read."""

from __future__ import annotations

import argparse
import json

from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.entries import (
    Entries,
    add_band_argument,
    add_person_argument,
    band_of,
    depth_json,
    depth_line,
    depth_of,
    open_entries,
)
from blindfield.field.as_built import DepthBand
from blindfield.model.errors import ConfigError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("target", nargs="?", metavar="TARGET", help="its name (default: list all)")
    parser.add_argument("depth", nargs="?", metavar="METRES", help="down from the snow surface")
    means = parser.add_mutually_exclusive_group()
    means.add_argument(
        "--probed",
        dest="means",
        action="store_const",
        const="probed",
        default="probed",
        help="probed over the target (the default)",
    )
    means.add_argument(
        "--strike",
        dest="means",
        action="store_const",
        const="strike",
        help="read off the graduated probe at a strike",
    )
    means.add_argument(
        "--hole", dest="means", action="store_const", const="hole", help="measured in its hole"
    )
    add_band_argument(parser)
    add_person_argument(parser)
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    band_m = band_of(options)
    with open_entries(options) as entries:
        if options.target is None:
            show(entries, [target.name for target in entries.place.targets], band_m, options.json)
            return 0
        target = entries.place.target_named(options.target)
        if options.depth is None:
            raise ConfigError(
                f"no depth was given for target {target.name}.",
                remedy=f"Write it behind the name: blindfield depth {target.name} 0.95",
            )
        depth_m = depth_of(options.depth, target.name)
        entries.keep("depth", device=target.name, depth_m=depth_m, means=options.means)
        show(entries, [target.name], band_m, options.json)
    return 0


def show(entries: Entries, names: list[str], band_m: DepthBand, as_json: bool) -> None:
    """Print how these targets lie now, each in a line or as JSON."""
    built = entries.built()
    found = [built.target_named(name) for name in names]
    if as_json:
        rows = [depth_json(one, band_m) for one in found]
        print(json.dumps({"band_m": list(band_m), "targets": rows}, indent=2))
        return
    for one in found:
        print(depth_line(one, band_m))
    out = [one.target.name for one in found if one.out_of_draw(band_m)]
    if len(found) > 1 and out:
        low_m, high_m = band_m
        print(
            f"{len(out)} of {len(found)} are out of the draw for {low_m:g} to {high_m:g} m: "
            f"{', '.join(out)}. To let them in: --band LOW HIGH with run and draw; or dig them up."
        )
    if not found:
        print("This field has no targets yet.")
