"""`blindfield`: the command line. Nothing heavy is imported before a command is chosen."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

from blindfield import __version__

DONE, REFUSED, USAGE, NOT_SILENT, STOPPED = 0, 1, 2, 3, 130

_COMMANDS = {
    "demo": "watch a whole practice run without any hardware",
    "key": "make or show the field's secret key",
    "devices": "list the devices of the field and how they are",
    "run": "draw a blind problem, conduct the run, keep it in the logbook",
    "check": "before a session: is every device fit, what may go unheard",
    "draw": "what can be drawn for a searcher, and how much is left of this field",
    "tell": "say second, stop or done to the run under way",
    "silence": "stop every carrier of the field now (needs no key)",
    "rearm": "allow sending again after a silence, when all are safe",
    "debrief": "show a run: splits, timeline, places",
    "plan": "where to bury what, and the problems it makes (for whoever digs)",
    "stake": "the sheet and cards to stake the planned places with a tape: for whoever digs",
    "survey": "where the targets really lie, from three tape readings each: for whoever digs",
    "depth": "how deep the targets lie; enter a depth as probed, struck or measured",
    "state": "what became of a target: dug out, put back, settled, frozen in",
    "snow": "new snow or settling over the field, or drift over one target",
    "map": "maps and prints: for whoever digs, blind for whoever searches, a sign, cards, counts",
    "fetch": "bring every target home: one sends at a time, counted in (shows where targets lie)",
    "range": "walk away from one target: receive range, its spread, the search strip width",
    "par": "how long a modelled searcher takes for a problem, by leg and phase",
    "standards": "what runs are judged by; hold a closed run against one",
    "tick": "tick the steps of a search, beside a run or afterwards",
    "correct": "say what a run got wrong; the result is worked out anew",
    "progress": "what somebody's runs say: counts, times, how likely the next attempt passes",
    "next": "the next sitting laid out, for the time and people there are",
    "logbook": "back up, hand on, take in and check the logbook; take a person out of it",
    "preview": "a picture of a problem and of a modelled search: for whoever plans, not searches",
    "rig": "a practice bench without hardware: targets as processes",
}

_EPILOG = """\
Practice equipment, never rescue equipment. Practise outside avalanche terrain. Transmitting needs
the local radio authority's permission. In a real accident: `blindfield silence`.

exit status: 0 done, 1 refused, 2 usage, 3 not confirmed silent
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit status."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    parser = _parser()
    if not words:
        parser.print_help()
        return USAGE
    command = next((word for word in words if not word.startswith("-")), None)
    if command in _COMMANDS and words[0] == command:
        return _run(command, words[1:])
    parser.parse_args(words)
    return USAGE


def _parser() -> argparse.ArgumentParser:
    listing = "\n".join(f"  {name:<9} {doc}" for name, doc in _COMMANDS.items())
    parser = argparse.ArgumentParser(
        prog="blindfield",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description=f"A practice field that sets its own problems.\n\ncommands:\n{listing}",
        epilog=_EPILOG,
        usage="blindfield COMMAND [options]   (blindfield COMMAND --help)",
    )
    parser.add_argument("--version", action="version", version=f"blindfield {__version__}")
    parser.add_argument("command", choices=sorted(_COMMANDS), help=argparse.SUPPRESS)
    return parser


def _run(command: str, words: Sequence[str]) -> int:
    from blindfield.model.errors import BlindfieldError, NotConfirmedSilent

    module = import_module(f"blindfield.console.{command}")
    options = _parser_of(command, module).parse_args(words)
    try:
        status: int = module.run(options)
        sys.stdout.flush()  # here, where a reader that has gone is still an answer of ours
    except NotConfirmedSilent as error:
        print(f"blindfield: {error}", file=sys.stderr)
        return NOT_SILENT
    except BlindfieldError as error:
        print(f"blindfield: {error}", file=sys.stderr)
        return REFUSED
    except KeyboardInterrupt:
        print("blindfield: stopped.", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # Whoever read our output has gone (`| head`): nothing more can be said to them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    return status


def _parser_of(command: str, module: ModuleType) -> argparse.ArgumentParser:
    doc = _COMMANDS[command]
    parser = argparse.ArgumentParser(
        prog=f"blindfield {command}", description=f"{doc[0].upper()}{doc[1:]}."
    )
    module.add_arguments(parser)
    return parser


if __name__ == "__main__":
    sys.exit(main())
