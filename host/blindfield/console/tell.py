"""`blindfield tell second|stop|done`: say something to the run that is under way."""

from __future__ import annotations

import argparse
import json

from blindfield.conduct.owner import ask_owner
from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.model.errors import ConfigError, NotReady

TIMEOUT_S = 10.0
MEANINGS = (
    "second: the instructor's word, a second signal that waits for it comes now. stop: I stop. "
    "done: the ground is clear, or the pack is dug out (where a run ends so)."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("word", choices=("second", "stop", "done"), help=MEANINGS)
    add_field_argument(parser)
    add_json_argument(parser)


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    try:
        answer = ask_owner(place.folder, "tell", timeout_s=TIMEOUT_S, word=options.word)
    except ConfigError:
        answer = None  # the field is in use, but not by a run
    if answer is None:
        raise NotReady("no run is under way.", remedy="`blindfield run` begins one.")
    print(json.dumps({"said": answer["said"]}) if options.json else answer["said"])
    return 0
