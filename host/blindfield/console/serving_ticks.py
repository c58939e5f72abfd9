"""Ticks of a run under way, taken through the owner's port."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.owner import Owner
from blindfield.model.errors import NotReady
from blindfield.model.field import Field
from blindfield.scoring.steps import step_named
from blindfield.scoring.ticks import VALUES, value_of

SEARCHER, OBSERVER = "searcher", "observer"
MOST_TEXT = 80


def serve_ticks(owner: Owner, place: Field, conductor: Conductor) -> None:
    """From now on `tick` is about this run. The answer is the same whatever was drawn."""

    async def tick(request: Mapping[str, Any]) -> Mapping[str, Any]:
        return {"said": await ticked(place, conductor, request)}

    owner.handle("tick", tick)


async def ticked(place: Field, conductor: Conductor, request: Mapping[str, Any]) -> str:
    """Keeps a tick of now; the sentence that answers, once it is on disk.

    Steps before the start can be ticked from the moment the run is drawn. Raises NotReady before
    that and after the close, ConfigError for an unknown step or target.
    """
    recorder = conductor.recorder
    if recorder.run_id is None:
        raise NotReady(
            "no run is open here.",
            remedy="Tick from the moment it is loaded; afterwards with --run RUN.",
        )
    step = step_named(str(request.get("step", "")))
    target, value = _target(place, request.get("target")), value_of(request.get("value", "done"))
    assert value in VALUES
    data = {
        "step": step.name,
        "target": target,
        "value": value,
        "author": str(request.get("author", ""))[:MOST_TEXT] or None,
        "by": SEARCHER if request.get("by") == SEARCHER else OBSERVER,
        "means": "live",
    }
    await recorder.say("tick", "person", **data)
    return said_text(step.title, data)


def _target(place: Field, said: Any) -> str | None:
    """A target of the field, in play or not, or "#2" for the second that is found."""
    if not said:
        return None
    text = str(said)
    if text.startswith("#") and text[1:].isdigit():
        return text
    return place.target_named(text).name


def said_text(title: str, data: Mapping[str, Any]) -> str:
    """What was ticked, in a sentence."""
    target, value = data.get("target"), data["value"]
    of = "" if not target else f" ({_target_text(str(target))})"
    how = {"done": "Ticked", "missed": "Ticked as missed", "put right": "Ticked as put right"}
    self_said = ", self-report" if data.get("by") == SEARCHER else ""
    return f"{how.get(value, 'Ticked as not applicable')}: {title}{of}{self_said}."


def _target_text(target: str) -> str:
    return f"found number {target[1:]}" if target.startswith("#") else target
