"""Entries short enough for gloves: `3 a 31.4`, and how they are read."""

from __future__ import annotations

from dataclasses import dataclass

from blindfield.console.entries import NUMBER, depth_of, number_of
from blindfield.field.pegs import is_line, pegs_of, point_named
from blindfield.field.settings import AZIMUTH_RANGE_DEG, TILT_RANGE_DEG
from blindfield.field.survey import Kind, Reading, reading_of
from blindfield.model.errors import ConfigError
from blindfield.model.field import Field

HELP = """\
    31.4            at a question: the tape from the peg asked for
    3 a 31.4        target 3, tape from peg A; without the 3: the target asked for
    3 ab25 18.2     tape from the mark 25 m from A towards B
    3 ab 12.3 8.2   base line AB: 12.3 m along, 8.2 m off
    3 deep 0.95     its depth, measured in the hole
    3 lies 120 -10  its antenna: degrees clockwise from the y axis, degrees above level
    to 3            go to target 3
    undo            take the last readings back
    drop 3          forget all readings of target 3, and read it again
    (Enter)         ask for another peg
    end             leave; all is kept"""


EXAMPLE = "Such as: 3 a 31.4 (target, peg, metres); ? shows more."


@dataclass(frozen=True)
class Entry:
    """One entry read: of `target`, either readings, a depth, or an attitude in degrees."""

    target: str
    readings: tuple[Reading, ...] = ()
    depth_m: float | None = None
    attitude_deg: tuple[float, float] | None = None


def parse_entry(place: Field, text: str, *, target: str | None, origin: str | None) -> Entry:
    """What a line says; `target` and `origin` are those asked for at the prompt, None for none.

    Raises ConfigError naming the target and the peg.
    """
    words = text.replace(", ", " ").split()
    count = len(words)
    while count and _is_number(words[count - 1]):
        count -= 1
    head, numbers = words[:count], words[count:]
    if head and head[-1].lower() in ("deep", "lies"):
        return _of_the_hole(place, head, numbers, target)
    if not numbers:
        raise _no_number(place, words, target)
    if len(numbers) > 1 and not (head and is_line(place, head[-1])):
        if head and _is_origin(place, head[-1]):
            raise ConfigError(f'"{text}" has a number too many.', remedy=EXAMPLE)
        head, numbers = [*head, *numbers[:-1]], numbers[-1:]  # a target named by a number
    name, origin = _head(place, head, target, origin)
    try:
        readings = _readings(place, origin, numbers)
    except ConfigError as error:
        raise ConfigError(f"target {name}: {error.what}", remedy=error.remedy) from None
    return Entry(name, readings)


def _head(
    place: Field, head: list[str], target: str | None, origin: str | None
) -> tuple[str, str | None]:
    """The target and the origin that the words before the numbers name."""
    if head and _is_origin(place, head[-1]):
        head, origin = head[:-1], head[-1]
    elif _names_no_peg(place, head, target):
        raise ConfigError(
            f'target {" ".join(head[:-1]) or target}: this field has no peg "{head[-1]}".',
            remedy=f"Pegs: {' '.join(pegs_of(place))}. Targets: {_names(place)}.",
        )
    if head:
        return place.target_named(" ".join(head)).name, origin
    if target is None:
        raise ConfigError("which target?", remedy=f"Begin with its name: {_names(place)}.")
    return target, origin


def _names_no_peg(place: Field, head: list[str], target: str | None) -> bool:
    """Whether the last word stands where a peg should, and is none."""
    if not head or _is_target(place, head):
        return False
    return _is_target(place, head[:-1]) or (len(head) == 1 and target is not None)


def _readings(place: Field, origin: str | None, numbers: list[str]) -> tuple[Reading, ...]:
    if origin is None:
        raise ConfigError("from which peg?", remedy=f"Pegs: {' '.join(pegs_of(place))}.")
    values_m = [number_of(number.lower(), "a length") for number in numbers]
    if not is_line(place, origin):
        return (reading_of(place, Kind.TAPE, origin, values_m[-1]),)
    if len(values_m) != 2:
        raise ConfigError(
            f"base line {origin.upper()} takes two lengths.",
            remedy=f"Along it, then off it: {origin} 12.3 8.2.",
        )
    kinds = (Kind.ALONG, Kind.OFFSET)
    return tuple(
        reading_of(place, kind, origin, value) for kind, value in zip(kinds, values_m, strict=True)
    )


def _of_the_hole(place: Field, head: list[str], numbers: list[str], target: str | None) -> Entry:
    word = head[-1].lower()
    name, _ = _head(place, head[:-1], target, None)
    wanted = 1 if word == "deep" else 2
    if len(numbers) != wanted:
        example = "deep 0.95" if word == "deep" else "lies 120 -10"
        raise ConfigError(
            f'target {name}: "{word}" takes {"a number" if wanted == 1 else "two numbers"}.',
            remedy=f"Such as: {name} {example}.",
        )
    if word == "deep":
        return Entry(name, depth_m=depth_of(numbers[0], name))
    azimuth_deg, tilt_deg = (number_of(number, "an angle") for number in numbers)
    for value, (low, high) in ((azimuth_deg, AZIMUTH_RANGE_DEG), (tilt_deg, TILT_RANGE_DEG)):
        if not low <= value <= high:
            raise ConfigError(
                f"target {name}: {value:g} degrees is outside {low:g} to {high:g}.",
                remedy="First clockwise from the y axis, then above level.",
            )
    return Entry(name, attitude_deg=(azimuth_deg, tilt_deg))


def _no_number(place: Field, words: list[str], target: str | None) -> ConfigError:
    """Why an entry without a number cannot be taken."""
    last = words[-1] if words else ""
    for count, what in ((2, f'"{last}" is no length'), (1, "there is no length")):
        if len(words) >= count and _is_origin(place, words[-count]):
            name = " ".join(words[:-count]) or target or "not named"
            return ConfigError(f"target {name}, {words[-count].upper()}: {what}.", remedy=EXAMPLE)
    return ConfigError(f'"{" ".join(words)}" is no reading.', remedy=EXAMPLE)


def _is_number(word: str) -> bool:
    return NUMBER.fullmatch(word.lower().removesuffix("m")) is not None


def _is_origin(place: Field, word: str) -> bool:
    if is_line(place, word):
        return True
    try:
        point_named(place, word)
    except ConfigError:
        # A mark beyond its peg is meant as one: the reading itself says what is wrong with it.
        return len(word) > 2 and is_line(place, word[:2]) and NUMBER.fullmatch(word[2:]) is not None
    return True


def _is_target(place: Field, words: list[str]) -> bool:
    name = " ".join(words).casefold()
    return any(target.name.casefold() == name for target in place.targets)


def _names(place: Field) -> str:
    return ", ".join(target.name for target in place.targets) or "none"
