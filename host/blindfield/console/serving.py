"""What other commands may ask of a run under way, through the owner's port."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from blindfield.conduct.conductor import Conductor
from blindfield.conduct.proof import proof_of_silence
from blindfield.console.desk import Desk
from blindfield.console.serving_ticks import serve_ticks
from blindfield.model.errors import NotReady

WORDS = ("second", "stop", "done")
KEYBOARD = "keyboard"


def serve_run(desk: Desk, conductor: Conductor) -> None:
    """From now on `silence`, `status`, `tell` and `tick` are about this run."""

    async def silence(_: Mapping[str, Any]) -> Mapping[str, Any]:
        await conductor.silence("asked for by another command")
        return await proof_of_silence(desk.place, desk.crew)

    async def status(_: Mapping[str, Any]) -> Mapping[str, Any]:
        state = conductor.state
        told = state.scenario is not None and state.scenario.told
        to_find = state.to_find if told else None
        return {"phase": state.phase, "found": len(state.finds), "to_find": to_find}

    async def tell(request: Mapping[str, Any]) -> Mapping[str, Any]:
        return {"said": await told(conductor, str(request.get("word", "")))}

    desk.owner.handle("silence", silence)
    desk.owner.handle("status", status)
    desk.owner.handle("tell", tell)
    serve_ticks(desk.owner, desk.place, conductor)


async def told(conductor: Conductor, word: str) -> str:
    """Do what a person tells the run; the sentence that answers. Raises NotReady.

    The answer to `second` is the same whatever the problem is: it must not tell of which kind.
    """
    state = conductor.state
    if word not in WORDS:
        raise NotReady(f"nothing is known of {word!r}.", remedy=f"Say one of {', '.join(WORDS)}.")
    if word == "stop":
        await conductor.recorder.say("stop", "person", by="searcher", means=KEYBOARD)
        return "The run ends; everything is made silent."
    if state.phase not in ("running", "overtime"):
        raise NotReady("the run has not begun, or is ending.", remedy="Wait for the start.")
    if word == "second":
        await conductor.recorder.say("word_asked", "person", means=KEYBOARD)
        return "Said. If this problem waits for the word, the second signal comes now."
    if not state.until_done:
        raise NotReady(
            "this run ends by itself, at the last find.",
            remedy="`blindfield tell stop` ends it before.",
        )
    await conductor.recorder.say("done", "person", by="searcher", means=KEYBOARD)
    return "Done: the run ends."
