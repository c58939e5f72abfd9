"""`blindfield map`: maps and prints of the field, to take along."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from blindfield.console.desk import add_field_argument, field_of
from blindfield.console.entries import add_band_argument, band_of, number_of, open_entries
from blindfield.console.stake import MOST_DECOYS, TAPE_RANGE_M
from blindfield.field.as_built import AsBuilt, as_built
from blindfield.field.geojson import MADE_BY as GEOJSON_MARK
from blindfield.field.geojson import blind_geojson, full_geojson
from blindfield.field.staking import staking_sheet
from blindfield.field.suggest import TAPE_M
from blindfield.model.errors import ConfigError, NotReady
from blindfield.model.field import Field, KeepOut, Post, StartPoint, Target
from blindfield.model.files_of_ours import write_ours

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FOLDER = "prints"
SUFFIX, SUFFIXES = ".pdf", (".pdf", ".svg", ".geojson")
MOST_CALLS = 3


@dataclass(frozen=True)
class Kind:
    """One thing to print: `stem` names its file, `shows_places` keeps it closed during a run."""

    stem: str
    title: str
    shows_places: bool
    on_globe: bool = False


KINDS = {
    "digger": Kind("map-for-digger", "every place, for whoever digs", True, on_globe=True),
    "searcher": Kind("map-for-searcher", "the ground alone, for whoever searches", False,
                     on_globe=True),
    "sign": Kind("sign", "warning sign for the field's edge", False),
    "cards": Kind("staking-cards", "a card for each hole, for whoever digs", True),
    "count": Kind("count-sheet", "targets out and in again", False),
}  # fmt: skip
EPILOG = (
    "Without --for: all of them as PDF into one folder. The digger's map and the cards show where "
    "targets lie: never for whoever searches; while a run is open they are not written. The "
    "searcher's map is the same whatever lies in the field. GeoJSON (the maps alone) needs the "
    "field's place on the globe in its file."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = EPILOG
    told = "; ".join(f"{name}: {kind.title}" for name, kind in KINDS.items())
    parser.add_argument("--for", dest="whom", choices=tuple(KINDS), help=told)
    parser.add_argument(
        "--out",
        metavar="FILE",
        help="where to write it: .pdf, .svg or .geojson; without --for a folder "
        f"(default: in {FOLDER} beside the field's file)",
    )
    parser.add_argument(
        "--call",
        action="append",
        default=[],
        metavar="WHO",
        help="sign: name and phone of whom to call, up to "
        f"{MOST_CALLS} times (default: lines to fill in by hand)",
    )
    parser.add_argument(
        "--emergency", default="", metavar="NUMBER", help="sign: the number that calls for help"
    )
    parser.add_argument(
        "--tape", default=f"{TAPE_M:g}", metavar="METRES", help="cards: length of the tape"
    )
    parser.add_argument(
        "--decoys", type=int, default=0, metavar="N", help="cards: pits with nothing in them"
    )
    parser.add_argument(
        "--seed", type=int, default=0, help="cards: the decoy pits of that staking sheet"
    )
    add_band_argument(parser)
    add_field_argument(parser)


def run(options: argparse.Namespace) -> int:
    _check(options)
    place = field_of(options)
    if options.whom is not None:
        path = _file(options, place)
        _tell(options.whom, _write(options, place, options.whom, path))
        return 0
    return _write_all(options, place)


def _write_all(options: argparse.Namespace, place: Field) -> int:
    """Everything that may be written now. Raises NotReady at the end while a run is open, for then
    some of it may not."""
    folder = Path(options.out).expanduser() if options.out else place.folder / FOLDER
    if folder.suffix.lower() in SUFFIXES:
        raise ConfigError(
            f"{folder.name} is one file, and there are several prints.",
            remedy=f"Say which with --for: {', '.join(KINDS)}. Or name a folder.",
        )
    _made(folder)
    closed: NotReady | None = None
    for whom, kind in KINDS.items():
        suffixes = (SUFFIX, ".geojson") if kind.on_globe and place.georeference else (SUFFIX,)
        if whom == "cards" and not place.targets:
            continue
        for suffix in suffixes:
            try:
                path = folder / f"{kind.stem}{suffix}"
                _tell(whom, _write(options, place, whom, path))
            except NotReady as error:
                closed = error
    if closed:
        waiting = ", ".join(kind.stem for kind in KINDS.values() if kind.shows_places)
        raise NotReady(f"not written: {waiting}; {closed.what}", remedy=closed.remedy)
    return 0


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ConfigError(
            f"{folder} is no folder that can be made: {error.strerror}.",
            remedy="Name another with --out, or one file with --for as well.",
        ) from error
    return folder


def _write(options: argparse.Namespace, place: Field, whom: str, path: Path) -> list[Path]:
    kind = KINDS[whom]
    built = _built(options) if kind.shows_places else as_built(place, [])
    if path.suffix.lower() == ".geojson":
        text = full_geojson(built) if kind.shows_places else blind_geojson(place)
        write_ours(path, text.encode(), mark=GEOJSON_MARK, kind="map", option="--out")
        return [path]
    from blindfield.field.prints_file import write  # draws, and so loads much

    paths = write(f"{place.name}: {kind.title}", _PAGES[whom](options, built), path)
    _tell_missing(place, path)
    return paths


def _tell_missing(place: Field, path: Path) -> None:
    from blindfield.field.prints_page import missing_letters

    named: list[Target | Post | StartPoint | KeepOut] = [
        *place.targets, *place.posts, *place.start_points, *place.keep_outs
    ]  # fmt: skip
    missing = missing_letters("".join([place.name, *(one.name for one in named)]))
    if missing and path.suffix.lower() == SUFFIX:
        letters = "".join(dict.fromkeys(missing))
        print(f"{path.name}: an empty box stands for each of {letters}. The .svg has them.")


def _built(options: argparse.Namespace) -> AsBuilt:
    """The field as it lies. Raises NotReady while a run is open."""
    with open_entries(options) as entries:
        return entries.built()


Pages = Callable[[argparse.Namespace, AsBuilt], "list[Figure]"]


def _digger(options: argparse.Namespace, built: AsBuilt) -> list[Figure]:
    from blindfield.field.map_pages import full_map

    return full_map(built, band_of(options))


def _searcher(_: argparse.Namespace, built: AsBuilt) -> list[Figure]:
    from blindfield.field.map_pages import blind_map

    return blind_map(built.field)


def _sign(options: argparse.Namespace, built: AsBuilt) -> list[Figure]:
    from blindfield.field.prints_sign import sign

    return sign(built.field.name, options.call, options.emergency)


def _cards(options: argparse.Namespace, built: AsBuilt) -> list[Figure]:
    from blindfield.field.prints_cards import cards

    sheet = staking_sheet(
        built.field,
        tape_m=number_of(options.tape, "a length of tape"),
        decoys=options.decoys,
        seed=options.seed,
    )
    if not sheet.cards:
        raise ConfigError(
            "this field has no targets yet, and so no cards.",
            remedy="Write them into its file, or let `blindfield plan` place them.",
        )
    return cards(built.field, sheet)


def _count(_: argparse.Namespace, built: AsBuilt) -> list[Figure]:
    from blindfield.field.prints_count import count_sheet

    return count_sheet(built.field)


_PAGES: dict[str, Pages] = {
    "digger": _digger,
    "searcher": _searcher,
    "sign": _sign,
    "cards": _cards,
    "count": _count,
}


def _file(options: argparse.Namespace, place: Field) -> Path:
    """The file that was named, or the usual one in the usual folder. Raises ConfigError."""
    kind = KINDS[options.whom]
    allowed = SUFFIXES if kind.on_globe else SUFFIXES[:2]
    if not options.out:
        return _made(place.folder / FOLDER) / f"{kind.stem}{SUFFIX}"
    path = Path(options.out).expanduser()
    if path.is_dir():
        return path / f"{kind.stem}{SUFFIX}"
    if path.suffix.lower() not in allowed:
        raise ConfigError(
            f"{path.name} cannot be written for {options.whom}.",
            remedy=f"Name a file that ends in {' or '.join(allowed)}.",
        )
    return path


def _check(options: argparse.Namespace) -> None:
    """What may be wrong with the words, before anything is written. Raises ConfigError."""
    band_of(options)
    tape_m = number_of(options.tape, "a length of tape")
    if not TAPE_RANGE_M[0] <= tape_m <= TAPE_RANGE_M[1]:
        raise ConfigError(f"a tape of {tape_m:g} m is none.", remedy="Give 5 to 500 m.")
    if not 0 <= options.decoys <= MOST_DECOYS:
        raise ConfigError(
            f"{options.decoys} decoy pits are out of range.", remedy=f"Give 0 to {MOST_DECOYS}."
        )
    if len(options.call) > MOST_CALLS:
        raise ConfigError(
            f"{len(options.call)} people to call are more than the sign holds.",
            remedy=f"Give --call at most {MOST_CALLS} times.",
        )


def _tell(whom: str, paths: list[Path]) -> None:
    print(f"Wrote {', '.join(map(str, paths))}: {KINDS[whom].title}.")
