"""A plan on the terminal: places, a map of characters, what can be drawn, sweat, digging order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from blindfield.console.plan_drawable import Drawable, Gain
from blindfield.debrief.plan import Spot, grid_size, plan_lines, short_labels
from blindfield.field.labour import ASSUMPTIONS, LEAST_DEPTH_M
from blindfield.field.map_ground import RUN_IN_M
from blindfield.field.plan import Hole, Plan
from blindfield.field.plan_moves import Move
from blindfield.field.plan_objective import Lying
from blindfield.model.area import Area
from blindfield.model.field import Point

MAP_COLUMNS, MAP_ROWS = 60, 18
MOVES_SHOWN = 3
RIGHT = ("x m", "y m", "deep m", "min", "clear m", "problems")
_CORNER, _START, _KEEP_OUT, _GROUND = "+", "^", "x", "."
_LEVEL_DEG = 45.0


@dataclass(frozen=True)
class Shown:
    """A plan, the name of its field, what the draw finds in it, and what each move would add."""

    made: Plan
    field: str
    drawable: Drawable
    gains: Sequence[Gain]


def show(shown: Shown, lead: str) -> None:
    """Print it, at the terminal's width (made for 80 and more). `lead`: a line to begin with."""
    console = Console()
    made = shown.made
    for line in (lead, _headline(shown)):
        if line:
            console.print(line, highlight=False, markup=False)
    console.print(_targets(made))
    console.print(*_map(made), sep="\n", highlight=False)
    console.print(_kinds(shown.drawable))
    for line in _lines(shown):
        console.print(line, highlight=False, markup=False)


def _headline(shown: Shown) -> str:
    made, drawable = shown.made, shown.drawable
    seed = "" if made.seed is None else f"Seed {made.seed}. "
    return (
        f"{shown.field}: {_counted(len(made.targets), 'target')}, "
        f"{_counted(len(made.task.starts), 'start point')}: "
        f"{_counted(drawable.problems, 'problem')} in {_counted(len(drawable.kinds), 'kind')} "
        "can be drawn. "
        f"{seed}For whoever digs, not for whoever searches."
    )


def _targets(made: Plan) -> Table:
    """Those that lie already first, then the holes in the order to dig."""
    table = _table("no.", "x m", "y m", "deep m", "antenna", "min", "in at", "out at", "clear m")
    new = {hole.target.name for hole in made.holes}
    for one in made.targets:
        if one.name not in new:
            table.add_row(*_place(one), "lies", "", "", "")
    for hole in made.holes:
        table.add_row(*_place(hole.target), f"{hole.minutes:.0f}", *_way(hole))
    return table


def _place(one: Lying) -> tuple[str, ...]:
    return one.name, f"{one.x_m:g}", f"{one.y_m:g}", f"{one.depth_m:g}", antenna_text(one)


def antenna_text(one: Lying) -> str:
    """How the antenna lies: level at this angle from the y axis, or upright."""
    if one.antenna_azimuth_deg is None or one.antenna_tilt_deg is None:
        return "not noted"
    if abs(one.antenna_tilt_deg) > _LEVEL_DEG:
        return "upright"
    return f"{one.antenna_azimuth_deg:g}°"


def _way(hole: Hole) -> tuple[str, str, str]:
    track = hole.track
    clear = f"{track.clear_m:.1f}" if math.isfinite(track.clear_m) else ""
    return _point(track.enter_m), _point(track.leave_m), clear + ("!" * track.over_keep_out)


def _point(point: Point) -> str:
    return f"{point[0]:g},{point[1]:g}"


def _map(made: Plan) -> list[Text]:
    ground = made.task.ground
    xs, ys = zip(*ground.outline_m, strict=True)
    area = Area(min(xs), min(ys), max(xs), max(ys))
    columns, rows = grid_size(area, MAP_COLUMNS, MAP_ROWS)
    labels = short_labels([one.name for one in made.targets])
    spots = [
        Spot(one.x_m, one.y_m, label, "bold")
        for one, label in zip(made.targets, labels, strict=True)
    ]
    spots += [Spot(start.x_m, start.y_m, _START, "cyan") for start in made.task.starts]
    spots += [Spot(*corner, _CORNER, "dim") for corner in ground.outline_m]
    for corners_m in ground.keep_outs_m:
        spots += [Spot(*corner, _KEEP_OUT, "red") for corner in corners_m if _holds(area, corner)]
    return plan_lines(spots, area, columns, rows, _GROUND)


def _holds(area: Area, point: Point) -> bool:
    return area.left_m <= point[0] <= area.right_m and area.bottom_m <= point[1] <= area.top_m


def _kinds(drawable: Drawable) -> Table:
    table = _table("kind", "problems")
    for kind, count in drawable.kinds.items():
        table.add_row(kind, str(count))
    return table


def _absent_lines(drawable: Drawable) -> list[str]:
    absent = [f"{kind}: not here, {why}" for kind, why in drawable.absent.items()]
    return ["Counted as `draw` counts; one problem may be of several kinds.", *absent]


def _lines(shown: Shown) -> list[str]:
    made, task = shown.made, shown.made.task
    lines = [*_absent_lines(shown.drawable), _map_key(made), _start_line(made), _range_line(made)]
    if made.holes:
        lines.append(_sweat_line(made))
        lines.append(f"Assumed: {'; '.join(ASSUMPTIONS)}.")
        lines.append(
            "Dig in this order. Walk in at the first rim point, straight past the hole and out at "
            "the second; go to the next outside. So no track leads from target to target."
        )
        if any(hole.track.over_keep_out for hole in made.holes):
            lines.append("!: no straight track misses the keep-outs; go round.")
    easy, hard = min(made.difficulties), max(made.difficulties)
    lines.append(f"Difficulty: {easy:.1f} to {hard:.1f} (a plain measure, ours).")
    lines.append(_score_line(made))
    if task.lying:
        lines += _move_lines(shown)
    return lines


def _map_key(made: Plan) -> str:
    labels = short_labels([one.name for one in made.targets])
    named = [f"{label} {one.name}" for label, one in zip(labels, made.targets, strict=True)]
    numbered = "" if labels == [one.name for one in made.targets] else f" ({', '.join(named)})"
    return (
        f"Map: numbers are targets{numbered}, {_START} starts, {_CORNER} corners; y up. "
        "Antenna: level, at the angle from the y axis; or upright."
    )


def _start_line(made: Plan) -> str:
    told, lanes = [], 0
    for start in made.task.starts:
        out_deg = made.task.ground.outward_deg(start)
        lane = "" if out_deg is None else f" ({out_deg:.0f}°)"
        lanes += out_deg is not None
        told.append(f"{start.name} {_point((start.x_m, start.y_m))}{lane}")
    text = f"Starts: {'; '.join(told)}."
    if not lanes:
        return text
    return (
        f"{text} Mark a run-in of {RUN_IN_M:g} m outside, toward the angle from the y axis: "
        "tracks there tell nothing."
    )


def _range_line(made: Plan) -> str:
    heard = made.task.hearing
    return (
        f"Receiver: {heard.range_m:g} m coaxial. The score takes its spread of {heard.sigma_m:g} m "
        f"into account: in range for sure up to {heard.sure_m:g} m shown, out of range beyond "
        f"{heard.lost_m:g} m."
    )


def _sweat_line(made: Plan) -> str:
    sweat = made.task.sweat
    who = _counted(sweat.people, "person", "people")
    text = f"Sweat: {made.minutes:.0f} min for {who}, pegging included"
    if sweat.minutes is None:
        return f"{text}."
    return (
        f"{text}; you have {sweat.minutes:g} min, enough for {sweat.fits()} at {LEAST_DEPTH_M:g} m."
    )


def _score_line(made: Plan) -> str:
    """What plans are compared by; the draw counts by rules of its own."""
    terms = made.terms
    words = {
        "different orders": terms.problems,
        "variety": terms.kinds,
        "sweat": terms.sweat,
        "room between holes": terms.room,
        "what gives it away": terms.give_away,
    }
    parts = "  ".join(f"{word} {float(part[0]) + 0.0:+.1f}" for word, part in words.items())
    return f"Score (plans are compared by it) {made.objective:.1f} = {parts}"


def _move_lines(shown: Shown) -> list[str]:
    moves = list(zip(shown.made.moves, shown.gains, strict=True))
    if not moves:
        return ["No single move of a target would make the field richer."]
    return [f"Or {_move_text(*both)}" for both in moves[:MOVES_SHOWN]]


def _move_text(move: Move, gain: Gain) -> str:
    moved = Lying(
        "",
        move.x_m,
        move.y_m,
        move.target.depth_m,
        move.antenna_azimuth_deg,
        move.antenna_tilt_deg,
    )
    kinds = ", ".join(gain.new_kinds)
    return (
        f"move no. {move.target.name} to {_point((move.x_m, move.y_m))}, antenna "
        f"{antenna_text(moved)}: {gain.more:+d} problem{'' if abs(gain.more) == 1 else 's'}"
        f"{f', new: {kinds}' if kinds else ''}, {move.minutes:.0f} min."
    )


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{count} {one if count == 1 else many or f'{one}s'}"


def _table(*columns: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, header_style="dim", pad_edge=False, show_edge=False)
    for name in columns:
        right = name in RIGHT
        table.add_column(name, justify="right" if right else "left")
    return table
