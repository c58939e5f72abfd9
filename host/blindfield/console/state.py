"""`blindfield state`: what became of a target: dug out, put back, settled, frozen in."""

from __future__ import annotations

import argparse

from blindfield.console.depth import show
from blindfield.console.desk import add_field_argument, add_json_argument
from blindfield.console.entries import (
    add_band_argument,
    add_person_argument,
    band_of,
    depth_of,
    open_entries,
)
from blindfield.field.toml_table import nearest
from blindfield.model.errors import ConfigError
from blindfield.model.field import TargetState


def add_arguments(parser: argparse.ArgumentParser) -> None:
    words = ", ".join(f'"{state.value}"' for state in TargetState)
    parser.add_argument("target", metavar="TARGET", help="its name")
    parser.add_argument(
        "said", nargs="+", metavar="STATE", help=f"one of {words}; then, if put back, its depth"
    )
    parser.epilog = 'Put back needs the new depth: blindfield state 3 "put back" 1.0'
    add_band_argument(parser)
    add_person_argument(parser)
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    band_m = band_of(options)
    with open_entries(options) as entries:
        target = entries.place.target_named(options.target)
        state, depth = _state_of(" ".join(options.said).lower().split())
        depth_m = None if depth is None else depth_of(depth, target.name)
        if depth_m is None and state is TargetState.PUT_BACK:
            raise ConfigError(
                f"how deep was target {target.name} put back?",
                remedy=f'Add it: blindfield state {target.name} "put back" 1.0',
            )
        if depth_m is not None and not state.lies:
            raise ConfigError(f"a target that is {state.value} has no depth.", remedy="Leave it.")
        entries.keep("state", device=target.name, state=state.value, depth_m=depth_m)
        show(entries, [target.name], band_m, options.json)
    return 0


def _state_of(words: list[str]) -> tuple[TargetState, str | None]:
    """The state, written in one word or two, quoted or not, and what stands behind it."""
    for state in TargetState:
        said = state.value.split()
        if words[: len(said)] == said and len(words) <= len(said) + 1:
            return state, words[len(said)] if len(words) > len(said) else None
    text = " ".join(words)
    known = [state.value for state in TargetState]
    meant = nearest(text, known)
    raise ConfigError(
        f'"{text}" is no state of a target.',
        remedy=f'Did you mean "{meant}"?' if meant else f"Say one of: {', '.join(known)}.",
    )
