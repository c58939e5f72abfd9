"""`blindfield plan`: where to bury what. It shows places: for whoever digs, never who searches."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING

from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.plan_asked import DEFAULT_SNOW_M, DEFAULT_STARTS, Asked, asked_of
from blindfield.model.errors import ConfigError

if TYPE_CHECKING:
    from blindfield.console.plan_drawable import Drawable, Gain
    from blindfield.field.plan import Plan

DEFAULT_SEED = 1


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "Shows where targets lie: for whoever digs, not for whoever will search. With a field it "
        "plans over what lies already and tells which move would bring most."
    )
    add_field_argument(parser)
    add_json_argument(parser)
    parser.add_argument("--targets", type=int, metavar="N", help="how many in all (default 8)")
    parser.add_argument("--new", action="store_true", help="as though nothing lay in the field yet")
    parser.add_argument(
        "--starter", type=int, metavar="N", help="a ready layout of 2, 3 or 4 targets"
    )
    _add_ground(parser)
    _add_digging(parser)
    _add_hearing(parser)
    parser.add_argument(
        "--seed", type=int, default=DEFAULT_SEED, help=f"another plan (default {DEFAULT_SEED})"
    )
    parser.add_argument("--write", metavar="FILE", help="write a new field file; never over one")


def _add_ground(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--area", metavar="CORNERS", help='60x40, or corners as "0,0 60,0 40,50" (default 50x50)'
    )
    parser.add_argument(
        "--keep-out", action="append", metavar="CORNERS", help="nothing is buried here; repeatable"
    )
    parser.add_argument(
        "--starts", type=int, metavar="N", help=f"flags round the area (default {DEFAULT_STARTS})"
    )
    parser.add_argument(
        "--start", action="append", metavar="X,Y", help="a start point of your own; repeatable"
    )
    parser.add_argument(
        "--apart", type=float, metavar="M", help="least distance between targets (default 4)"
    )


def _add_hearing(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--range", type=float, metavar="M", help="your receiver's, coaxial (default 40 m)"
    )
    parser.add_argument(
        "--range-spread", type=float, metavar="M", help="its spread (default a tenth of it)"
    )
    parser.add_argument(
        "--searcher", metavar="WHO", help="take both from this one's last `range` in the logbook"
    )


def _add_digging(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--people", type=int, default=2, help="who dig (default 2)")
    parser.add_argument("--minutes", type=float, help="time for all of it (default: no limit)")
    parser.add_argument(
        "--snow", type=float, metavar="M", help=f"its depth (default {DEFAULT_SNOW_M:g} m)"
    )
    parser.add_argument("--deep", type=int, metavar="N", help="how many may lie over 0.8 m deep")
    parser.add_argument(
        "--deepest", type=float, metavar="M", help="greatest burial depth (default 1 m)"
    )


def run(options: argparse.Namespace) -> int:
    _check(options)
    asked = asked_of(options)
    made = _planned(options, asked)
    drawable, gains = _counted(options, asked, made)
    text = None if options.write is None else _written(options, asked, made)
    if options.json:
        from blindfield.console.plan_json import plan_json

        name = None if asked.place is None else asked.place.name
        data = plan_json(made, name, drawable, gains)
        data |= {"file": options.write, "told": text}
        print(json.dumps(data, indent=2, allow_nan=False))
        return 0
    _show(options, asked, made, drawable, gains)
    if text is not None:
        print(text)
    return 0


def _check(options: argparse.Namespace) -> None:
    if options.seed < 0:
        raise ConfigError("a seed below zero cannot be.", remedy="Say 0 or more.")
    if options.start and options.starts is not None:
        raise ConfigError(
            "--start and --starts both say where to start.", remedy="Leave one of them out."
        )
    given = [name for name in ("area", "keep_out") if getattr(options, name) is not None]
    if options.searcher is not None and options.range is not None:
        raise ConfigError("--range and --searcher both say the range.", remedy="Leave one out.")
    if options.starter is not None:
        given += ["targets"] if options.targets is not None else []
        given += ["field"] if options.field is not None else []
        if given:
            raise ConfigError(
                f"--{given[0].replace('_', '-')} does not go with a starter layout.",
                remedy="Leave one of them out.",
            )
    elif options.field is not None and given:
        raise ConfigError(
            f"--{given[0].replace('_', '-')} does not go with a field: its file says that.",
            remedy="Leave it out, or leave out --field.",
        )


def _planned(options: argparse.Namespace, asked: Asked) -> Plan:
    from blindfield.field.layouts import STARTERS
    from blindfield.field.plan import plan, plan_as_given

    if options.starter is None:
        return plan(asked.task, seed=options.seed, names=asked.spare)
    if options.starter not in STARTERS:
        known = ", ".join(map(str, STARTERS))
        raise ConfigError(
            f"there is no starter layout of {options.starter} targets.",
            remedy=f"Choose from {known}; --targets plans any number.",
        )
    return plan_as_given(asked.task, STARTERS[options.starter].targets)


def _counted(options: argparse.Namespace, asked: Asked, made: Plan) -> tuple[Drawable, list[Gain]]:
    """What can be drawn of the plan where its file is to be, and what each move would bring."""
    from blindfield.console.plan_drawable import DrawRules
    from blindfield.console.plan_file import planned_field
    from blindfield.drills.catalogue import catalogue_of

    folder = Path.cwd() if asked.place is None else asked.place.folder
    if options.write is not None:
        path = Path(options.write).expanduser()
        folder = path if path.is_dir() else path.parent
    field, _ = planned_field(folder.absolute(), made, asked.place)
    rules = DrawRules(catalogue_of(folder), made.task.hearing.range_m, asked.kept_out)
    return rules.drawable(field), rules.gains(field, made.moves)


def _written(options: argparse.Namespace, asked: Asked, made: Plan) -> str:
    from blindfield.console.plan_file import write_field

    return write_field(Path(options.write).expanduser(), made, asked.place)


def _show(
    options: argparse.Namespace, asked: Asked, made: Plan, drawable: Drawable, gains: list[Gain]
) -> None:
    from blindfield.console.plan_screen import Shown, show
    from blindfield.field.layouts import STARTERS

    starter = (
        "" if options.starter is None else f"Starter layout: {STARTERS[options.starter].purpose}."
    )
    shown = Shown(made, asked.place.name if asked.place else "New field", drawable, gains)
    show(shown, starter)
