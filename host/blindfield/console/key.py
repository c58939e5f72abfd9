"""`blindfield key`: the field's secret key on this computer: made once, shown as a fingerprint."""

from __future__ import annotations

import argparse
import json

from blindfield.console.desk import add_field_argument, add_json_argument, field_of
from blindfield.links.keyfile import fingerprint, new_key, read_key
from blindfield.model.field import Field

KEEP = (
    "Whoever has this file can make the field send: keep it to yourself, and keep a copy, since\n"
    "without it no device of the field can be started again. Anyone may silence the field."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = (
        "A lost target carries the field's key. If one stays lost, make a new key in a new file, "
        "put it into every device, and use the old one no more."
    )
    acts = parser.add_subparsers(dest="act", required=True, metavar="new | show")
    new = acts.add_parser("new", help="make the key of a field that has none")
    show = acts.add_parser("show", help="its fingerprint, which may be told to anybody")
    for act in (new, show):
        add_field_argument(act)
        add_json_argument(act)
    show.add_argument("--secret", action="store_true", help="the key itself: 64 hex digits")


def run(options: argparse.Namespace) -> int:
    place = field_of(options)
    key = new_key(place.key_path) if options.act == "new" else read_key(place.key_path)
    secret = key.hex() if options.act == "show" and options.secret else None
    if options.json:
        print(json.dumps(_as_json(place, key, secret)))
        return 0
    made = "Made the key" if options.act == "new" else "The key"
    print(f"{made} {place.key_path}: {fingerprint(key)} (its fingerprint, no secret).")
    print(secret or KEEP)
    return 0


def _as_json(place: Field, key: bytes, secret: str | None) -> dict[str, str]:
    told = {"file": str(place.key_path), "fingerprint": fingerprint(key)}
    return told if secret is None else {**told, "secret": secret}
