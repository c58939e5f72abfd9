"""The live view: blind for a searcher, open for a spectator, always on one screen."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any, get_args

import pytest
from rich.cells import cell_len
from rich.console import Console

from blindfield.console.live import (
    LINES,
    MESSAGES_SHOWN,
    NOT_FOR_SEARCHERS,
    LiveState,
    LiveView,
    Message,
    Phase,
    TargetRow,
    frame,
)

SEARCH = LiveState(
    phase="running",
    field_name="Larch Hollow",
    run_s=223.46,
    time_limit_s=900.0,
    found=1,
    links_heard=7,
    links=7,
    messages=(Message(None, "All targets are ready."), Message(192.48, "Probe strike.")),
)
ROWS = (
    TargetRow(name="Fir", x_m=8.0, y_m=34.0, depth_m=1.1, signal="rests"),
    TargetRow(name="Gully", x_m=19.0, y_m=41.0, depth_m=1.4, signal="sends", last="since 3:13.0"),
    TargetRow(name="Larch", x_m=36.0, y_m=26.0, depth_m=1.2, signal="sends", found=True),
    TargetRow(name="Ridge", x_m=44.0, y_m=43.0, depth_m=1.6, signal="silent"),
)
WATCH = replace(
    SEARCH, to_find=2, spectator=ROWS, searcher_xy=(30.0, 20.0), start_xy=(25.0, 0.0), speed=40.0
)


def shown(state: LiveState, width: int = 80, ascii_only: bool = False) -> str:
    out = io.StringIO()
    Console(file=out, width=width, color_system=None).print(frame(state, ascii_only=ascii_only))
    return out.getvalue()


def crowded(**changes: Any) -> LiveState:
    rows = tuple(replace(ROWS[0], name=f"A name far too long {n}", x_m=n * 3.0) for n in range(20))
    return replace(
        WATCH,
        spectator=rows,
        messages=tuple(Message(float(n), "word " * 40) for n in range(20)),
        warnings=tuple("warning " * 30 for _ in range(9)),
        **changes,
    )


def test_a_searcher_sees_clock_limit_finds_and_links_and_no_target() -> None:
    text = shown(SEARCH)
    assert "3:43.4 of 15:00" in text
    assert "found 1 " in text
    assert "7 of 7 devices heard" in text
    assert "3:12.4  Probe strike." in text
    assert NOT_FOR_SEARCHERS not in text
    for row in ROWS:
        assert row.name not in text.replace("Larch Hollow", "")


def test_a_searchers_screen_cannot_depend_on_the_targets() -> None:
    blind = replace(WATCH, spectator=None)
    assert shown(blind) == shown(replace(blind, searcher_xy=None, start_xy=None))


def test_how_many_there_are_is_told_only_when_it_is_known() -> None:
    assert "found 1 of 2" in shown(replace(SEARCH, to_find=2))
    assert "found 1 of" not in shown(SEARCH)


def test_a_spectator_is_told_that_a_searcher_would_not_see_this() -> None:
    text = shown(WATCH)
    assert NOT_FOR_SEARCHERS in text
    assert "40 times as fast" in text
    for row in ROWS:
        assert row.name in text
        assert row.signal in text
    assert "since 3:13.0" in text
    assert {"○1", "●2", "▼3", "○4", "◆"} <= set(text.replace("│", " ").split())


def plan(state: LiveState) -> list[str]:
    return [line[2:24] for line in shown(state).splitlines()]


def place_of(sign: str, state: LiveState) -> tuple[int, int]:
    lines = plan(state)
    row = next(number for number, line in enumerate(lines) if sign in line)
    return row, lines[row].index(sign)


def test_the_searcher_walks_over_a_plan_that_stays() -> None:
    south, north = (replace(WATCH, searcher_xy=(10.0, y_m)) for y_m in (2.0, 40.0))
    assert place_of("◆", north)[0] < place_of("◆", south)[0]
    far = replace(WATCH, searcher_xy=(500.0, -500.0))
    for sign in ("●2", "▼3", "S"):
        assert place_of(sign, south) == place_of(sign, north) == place_of(sign, far)


@pytest.mark.parametrize("phase", get_args(Phase))
@pytest.mark.parametrize("ascii_only", [False, True])
def test_every_phase_fits_one_screen(phase: Phase, ascii_only: bool) -> None:
    crowd = crowded()
    for state in (SEARCH, WATCH, crowd, replace(crowd, spectator=None)):
        lines = shown(replace(state, phase=phase), ascii_only=ascii_only).splitlines()
        assert len(lines) <= LINES
        assert max(map(cell_len, lines)) == 80


def test_the_screen_keeps_its_size_as_messages_come() -> None:
    sizes = {
        len(shown(replace(state, messages=SEARCH.messages[:1] * count)).splitlines())
        for state in (SEARCH,)
        for count in range(MESSAGES_SHOWN + 3)
    }
    assert len(sizes) == 1


def test_only_the_last_messages_are_shown() -> None:
    messages = tuple(Message(float(n), f"message {n}") for n in range(8))
    text = shown(replace(SEARCH, messages=messages))
    assert [n for n in range(8) if f"message {n}" in text] == [3, 4, 5, 6, 7]


def test_targets_that_do_not_fit_are_counted() -> None:
    text = shown(crowded())
    named = text.count("A name far")
    assert named > 3
    assert f"and {20 - named} more" in text


def test_without_unicode_not_one_other_character_is_printed() -> None:
    for state in (SEARCH, WATCH, crowded(field_name="Lärchenmulde")):
        assert shown(state, ascii_only=True).isascii()


def bar(state: LiveState) -> tuple[int, int]:
    line = next(line for line in shown(state, ascii_only=True).splitlines() if "..." in line)
    return line.count("="), line.count(".")


def test_the_bar_shows_how_much_of_the_limit_is_gone() -> None:
    done, left = bar(replace(SEARCH, run_s=225.0))
    assert done / (done + left) == pytest.approx(0.25, abs=0.02)
    assert "." * 20 not in shown(replace(SEARCH, run_s=1000.0, phase="overtime"), ascii_only=True)
    assert "." * 20 not in shown(replace(SEARCH, time_limit_s=None), ascii_only=True)


def test_short_names_stand_in_the_plan_themselves() -> None:
    rows = tuple(
        replace(row, name=name) for row, name in zip(ROWS, ["7", "8", "9", "10"], strict=True)
    )
    text = shown(replace(WATCH, spectator=rows))
    for sign in ("○7", "●8", "▼9", "○10"):
        assert text.count(sign) == 2


def test_overtime_is_told_in_words() -> None:
    assert "time limit is past" in shown(replace(SEARCH, phase="overtime", run_s=905.0))


def test_names_are_shown_as_they_are() -> None:
    odd = replace(WATCH, spectator=(replace(ROWS[0], name="[b]Fir[/b]"),))
    assert "[b]Fir[/b]" in shown(odd)


def test_the_driver_draws_what_it_is_shown_and_leaves_the_last_on_screen() -> None:
    out = io.StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=True, color_system=None)
    with LiveView(console, ascii_only=False) as view:
        view.show(SEARCH)
        first = out.getvalue()
        view.show(replace(SEARCH, found=2))
    assert "found 1 " in first
    assert "found 2 " not in first
    assert "found 2 " in out.getvalue()


def test_the_driver_prints_only_the_last_state_where_there_is_no_terminal() -> None:
    out = io.StringIO()
    with LiveView(Console(file=out, width=80, height=24, color_system=None)) as view:
        view.show(SEARCH)
        view.show(replace(SEARCH, found=2))
    assert out.getvalue().count("found") == 1
    assert "found 2" in out.getvalue()
    assert out.getvalue().endswith("╯\n")
