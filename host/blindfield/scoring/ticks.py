"""Ticks: which step somebody saw done, missed, or put right. What nobody saw stays unknown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, cast, get_args

from blindfield.model.events import Event
from blindfield.scoring.steps import AFTER_STRIKE, Step, all_steps

Value = Literal["done", "missed", "put right", "not applicable"]
Means = Literal["live", "afterwards", "recording"]

VALUES: tuple[Value, ...] = get_args(Value)
PHASE_BEGUN = "phase_begun"
"""The `step` of a tick that says when a phase began: no step that is right or missed."""

_MISSED = ("no", "wrong", "missed", "false", "0")
_PUT_RIGHT = ("put right", "redone")


@dataclass(frozen=True, kw_only=True)
class Tick:
    """`target`: the name of the one concerned, None for the whole run or where nobody said.

    `run_s`: when, seconds since the start, None where nobody knows. `self_report`: the searcher
    says so, nobody else saw it.
    """

    step: str
    value: Value = "done"
    target: str | None = None
    run_s: float | None = None
    author: str = ""
    self_report: bool = False
    means: Means = "live"

    @property
    def right(self) -> bool:
        return self.value in ("done", "put right")


@dataclass(frozen=True)
class PhaseBegun:
    """A phase of the search for the `leg`-th target began; told from a recording."""

    leg: int
    phase: str
    run_s: float
    author: str = ""


@dataclass(frozen=True)
class Struck:
    """When a target was found by the probe: what ticks without a name are placed by."""

    target: str
    run_s: float


def ticks_of(
    events: Iterable[Event],
    run_s_of: Callable[[Event], float | None],
    strikes: Sequence[Struck] = (),
) -> list[Tick]:
    """The ticks of steps that this program knows, in the order said; the last word on a step of a
    target is the one that holds, with the time of the first that says when.

    `run_s_of`: the run time of an event, None where it is not known. `strikes`, in their order,
    tell which target a tick without one was about.
    """
    found: dict[tuple[str, str | None], Tick] = {}
    for event in events:
        step = all_steps().get(str(event.data.get("step", "")))
        if event.kind != "tick" or step is None:
            continue
        tick = _tick(event, step, run_s_of, strikes)
        before = found.get((tick.step, tick.target))
        if before is not None and tick.right and before.right and before.run_s is not None:
            tick = replace(tick, run_s=before.run_s)
        found[tick.step, tick.target] = tick
    return list(found.values())


def right_and_seen(events: Iterable[Event]) -> tuple[int, int]:
    """How many steps somebody ticked as right, and how many as right or missed."""
    said = [tick for tick in ticks_of(events, lambda _: None) if tick.value != "not applicable"]
    judged = [tick for tick in said if not all_steps()[tick.step].plus]
    return sum(tick.right for tick in judged), len(judged)


def phases_of(events: Iterable[Event]) -> list[PhaseBegun]:
    """When each phase began, as tapped along a recording; a later recording replaces all before."""
    begun: list[PhaseBegun] = []
    last_utc = ""
    for event in events:
        data = event.data
        if event.kind != "tick" or data.get("step") != PHASE_BEGUN:
            continue
        value = data.get("value")
        if not isinstance(value, Mapping) or "run_s" not in data:
            continue
        if event.utc != last_utc:
            begun, last_utc = [], event.utc
        begun.append(
            PhaseBegun(
                leg=int(value.get("leg", 1)),
                phase=str(value.get("phase", "")),
                run_s=float(data["run_s"]),
                author=str(data.get("author", "")),
            )
        )
    return begun


def value_of(said: Any) -> Value:
    """What an event's `value` means: a tick without one says done."""
    text = str(said).lower()
    if said is False or text in _MISSED:
        return "missed"
    if text in _PUT_RIGHT:
        return "put right"
    return "not applicable" if text == "not applicable" else "done"


def _tick(
    event: Event,
    step: Step,
    run_s_of: Callable[[Event], float | None],
    strikes: Sequence[Struck],
) -> Tick:
    data = event.data
    means = cast(Means, data.get("means", "live"))
    if "run_s" in data:
        run_s: float | None = float(data["run_s"])
    else:
        run_s = run_s_of(event) if means == "live" else None
    target = None
    if step.per == "target":
        target = _target(data.get("target"), step, run_s, strikes)
    return Tick(
        step=step.name,
        value=value_of(data.get("value", True)),
        target=target,
        run_s=run_s,
        author=str(data.get("author", "")),
        self_report=data.get("by") == "searcher",
        means=means,
    )


def _target(said: Any, step: Step, run_s: float | None, strikes: Sequence[Struck]) -> str | None:
    """The one named; "#2" is the second found; else the one that was searched for, or had just
    been found, at that time."""
    if isinstance(said, str) and said.startswith("#") and said[1:].isdigit():
        place = int(said[1:]) - 1
        return strikes[place].target if 0 <= place < len(strikes) else said
    if said:
        return str(said)
    if run_s is None or not strikes:
        return None
    before = [one for one in strikes if one.run_s <= run_s]
    if step.phase in AFTER_STRIKE:
        return before[-1].target if before else None
    # A strike is called, and ticked, some moments after it was felt.
    if step.phase == "pinpointing" and before and run_s - before[-1].run_s <= CALLED_WITHIN_S:
        return before[-1].target
    return strikes[len(before)].target if len(before) < len(strikes) else None


CALLED_WITHIN_S = 15.0
"""A tick of the pinpointing so soon after a strike is about it, not about the next; ours."""
