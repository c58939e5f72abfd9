"""The cautions of the trade, said once where they matter."""

from __future__ import annotations

import shutil
import sys
import textwrap

from blindfield.console.ask import confirmed
from blindfield.model.errors import NotReady

CAUTIONS = (
    "Practice equipment, never rescue equipment. Outside avalanche terrain only.",
    "Nobody else's transceiver is on send here; bystanders are out of the way.",
    "Own transceiver works; phone and electronics 20 cm away sending, 50 cm searching.",
    "Sending at 457 kHz is permitted here by the local radio authority.",
    "A real accident overrides everything. Stop the field: `blindfield silence` in any terminal, "
    "or five even knocks by hand on any target, and again if it goes on. It then stays silent "
    "until `blindfield rearm`.",
    "Ctrl-C here ends this run and makes everything silent, but does not lock the field.",
)
AT_THE_CLOSE = (
    "Own transceivers back to SEND. Group check. Fill or flag the holes; count the targets."
)


def show_cautions() -> None:
    """Print the cautions, wrapped at words to the terminal's width."""
    width = shutil.get_terminal_size().columns
    for caution in CAUTIONS:
        print(textwrap.fill(caution, width, initial_indent="  - ", subsequent_indent="    "))


def tick_cautions(*, ticked: bool, as_json: bool = False) -> None:
    """Show the cautions and have them confirmed. Raises NotReady when nobody confirms.

    With `as_json` a program reads the output: nothing is shown or asked, and only `ticked` counts.
    """
    if ticked and as_json:
        return
    if not as_json:
        show_cautions()
    if ticked:
        return
    if as_json or not sys.stdin.isatty():
        raise NotReady(
            "the cautions were not confirmed.",
            remedy="Confirm them with --cautions-read when nobody sits at this screen.",
        )
    if not confirmed("All of this is so? Type yes: "):
        raise NotReady("the cautions were not confirmed.", remedy="Nothing was started.")
