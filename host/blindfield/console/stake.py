"""`blindfield stake`: the sheet and the cards to find the planned places with a tape."""

from __future__ import annotations

import argparse
import json
import secrets
import textwrap

from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.entries import number_of, open_entries
from blindfield.field.staking import Card, Sheet, how_to, staking_sheet
from blindfield.field.suggest import TAPE_M
from blindfield.model.errors import ConfigError

TAPE_RANGE_M = (10.0, 500.0)
MOST_DECOYS = 50
WIDTH = 96


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.description = (
        "The staking sheet: how to find the planned places with one tape or two. For whoever digs, "
        "never for whoever searches: it shows every place."
    )
    parser.add_argument("targets", nargs="*", metavar="TARGET", help="these alone (default: all)")
    parser.add_argument("--people", type=int, choices=(1, 2), default=1, help="who stakes")
    parser.add_argument(
        "--tape", default=f"{TAPE_M:g}", metavar="METRES", help="length of the tape (default 50)"
    )
    parser.add_argument(
        "--decoys", type=int, default=0, metavar="N", help="pits with nothing in them"
    )
    parser.add_argument("--seed", type=int, help="draw the same decoy pits again")
    parser.add_argument("--cards", action="store_true", help="one card a hole, to take along")
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    tape_m = number_of(options.tape, "a length of tape")
    if not TAPE_RANGE_M[0] <= tape_m <= TAPE_RANGE_M[1]:
        raise ConfigError(f"a tape of {tape_m:g} m is none.", remedy="Give 5 to 500 m.")
    if not 0 <= options.decoys <= MOST_DECOYS:
        raise ConfigError(
            f"{options.decoys} decoy pits are out of range.", remedy=f"Give 0 to {MOST_DECOYS}."
        )
    seed = secrets.randbelow(1_000_000) if options.seed is None else options.seed
    with open_entries(options) as entries:
        sheet = staking_sheet(
            entries.built().field,
            options.targets,
            people=options.people,
            tape_m=tape_m,
            decoys=options.decoys,
            seed=seed,
        )
    if options.json:
        print(json.dumps(sheet.to_json(), indent=2))
    else:
        print("\n".join(_sheet_lines(sheet, cards=options.cards)))
    return 0


def _sheet_lines(sheet: Sheet, *, cards: bool) -> list[str]:
    lines = [
        f"STAKING SHEET of {sheet.field_name}: for whoever digs, never for whoever searches.",
        *textwrap.wrap(f"Pegs, m along the width and the height: {_pegs(sheet)}.", WIDTH),
        "AB12.5 is the mark 12.5 m from A on the tape to B.",
        "",
        *(_check_line(sheet)),
        "",
    ]
    for number, step in enumerate(how_to(sheet), 1):
        lines += textwrap.wrap(step, WIDTH, initial_indent=f"{number}. ", subsequent_indent="   ")
    lines += ["", *map(_card_line, sheet.cards)]
    if any(card.is_decoy for card in sheet.cards):
        lines.append(f"The same decoys again: --decoys {_decoys(sheet)} --seed {sheet.seed}")
    if not sheet.cards:
        lines.append("This field has no targets yet.")
    for card in sheet.cards if cards else ():
        lines += ["", *_card(card)]
    return lines


def _pegs(sheet: Sheet) -> str:
    return ", ".join(f"{name} ({x_m:g}, {y_m:g})" for name, (x_m, y_m) in sheet.pegs.items())


def _check_line(sheet: Sheet) -> list[str]:
    words = [
        f"{'diagonal ' if check.is_diagonal else ''}{check.begin}-{check.end} {check.length_m:.2f}"
        for check in sheet.checks
    ]
    longest_m = max((check.length_m for check in sheet.checks), default=0.0)
    beyond = (
        f" Your tape of {sheet.tape_m:g} m is shorter than the longest: stretch a cord, mark it "
        "where the tape ends, and add."
        if longest_m > sheet.tape_m
        else ""
    )
    return textwrap.wrap(f"Tape these, m: {', '.join(words)}.{beyond}", WIDTH)


def _card_line(card: Card) -> str:
    one, other = card.arcs
    check = f"  check {card.check.origin} {card.check.length_m:.2f}" if card.check else ""
    return (
        f"{card.number:>3} {card.name:<10} {card.line} {card.along_m:.2f} along, "
        f"{card.offset_m:.2f} off | {one.origin} {one.length_m:.2f}  {other.origin} "
        f"{other.length_m:.2f}{check} | {card.depth_m:.2f} m deep"
    )


def _card(card: Card) -> list[str]:
    one, other = card.arcs
    lines = [
        f"---- {card.number} ---- {'decoy pit' if card.is_decoy else f'target {card.name}'}",
        f"  base line  {card.line}: {card.along_m:.2f} m from {card.line[0]}, "
        f"then {card.offset_m:.2f} m square off it",
        f"  arcs       {one.origin} {one.length_m:.2f} m, {other.origin} {other.length_m:.2f} m, "
        f"crossing at {card.crossing_deg:.0f} deg",
    ]
    if card.check:
        lines.append(f"  check      {card.check.origin} {card.check.length_m:.2f} m")
    lines.append(f"  depth      {card.depth_m:.2f} m")
    lines.append(f"  lay it     {card.lies}")
    if not card.is_decoy:
        lines.append("  as done:   depth ______  lies ______ / ______  tapes ______ ______ ______")
    return lines


def _decoys(sheet: Sheet) -> int:
    return sum(card.is_decoy for card in sheet.cards)
