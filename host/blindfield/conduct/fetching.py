"""Brings the targets home: one sends, nearest first; when it is dug out the next one begins."""

from __future__ import annotations

import asyncio
import difflib
from collections.abc import Callable

from blindfield.conduct.closing import doubtful_of
from blindfield.conduct.roll import Roll
from blindfield.conduct.single import News, Single
from blindfield.conduct.state import HORN_CANNOT_START, HORN_FOUND
from blindfield.conduct.taped import how_to_probe, place_text
from blindfield.field.as_built import BuiltTarget
from blindfield.model.errors import BlindfieldError, LinkError, NotReady, Refused
from blindfield.model.field import Target, TargetState

TILT, PERSON = "by its tilt sensor", "by a person"
OUT_REST_S = 5.0  # a hand on its way to the keys when the sensor was quicker means the one before
RETRY_S = 5.0
MOST_RESTARTS = 3

WORDS = (
    "out: it is out. A name: that one is out. again: let it send for another 20 min. "
    "skip: leave it for another day. undo: the last one counted is not out. stop: no more today."
)


class Fetching:
    """`tell` shows a line to the person at the terminal; `author`: who counts, kept with it.

    `roll` may be read at any time, and holds what came of it.
    """

    def __init__(
        self, single: Single, roll: Roll, tell: Callable[[str], None], author: str | None = None
    ) -> None:
        self.single = single
        self.roll = roll
        self.tell = tell
        self._author = author
        self._stopped = False
        self._begun_s = 0.0
        self._restarts = 0
        self._before: dict[str, TargetState] = {}

    async def bring_home(self) -> None:
        """Until all are counted in, or a person stops. Raises NotReady once the field was
        silenced, LogbookError when nothing can be kept any more."""
        while not self._stopped and (one := self.roll.next()) is not None:
            await self._fetch(one)

    async def _fetch(self, one: BuiltTarget) -> None:
        target = one.target
        self.tell("")
        self.tell(
            f"Next: {target.name}, {self.roll.distance_m(target):.0f} m from where you are, "
            f"{place_text(target)}."
        )
        if not target.state.may_be_dug:
            self.tell("It is frozen in: leave it (skip) where no shovel gets it out unharmed.")
        await self._let_send(one)
        self._begun_s, self._restarts = asyncio.get_running_loop().time(), 0
        while self._is_out(target):
            await self._act_on(await self.single.heard(), one)
        await self._hand_over()

    def _is_out(self, target: Target) -> bool:
        done = self._stopped or target.name in self.roll.later
        return not done and target.name not in self.roll.home

    async def _let_send(self, one: BuiltTarget) -> None:
        """Its signal, or else how to find it without."""
        name = one.name
        try:
            await self.single.send(one.target)
        except (LinkError, Refused, NotReady) as error:
            if self.single.silenced:
                return  # the next look at the news says so and ends it
            self.tell(f"{name} cannot be made to send: {error.what}")
            self._find_by_tape(one)
        else:
            self.roll.heard.add(name)
            self.tell(f"{name} sends, for 20 min at most. Transceiver to SEARCH; dig it out.")

    def _find_by_tape(self, one: BuiltTarget) -> None:
        for sentence in how_to_probe(one):
            self.tell(f"  {sentence}")
        self.tell("  When it is in your hands, type: out")

    # What happens meanwhile

    async def _act_on(self, news: News, one: BuiltTarget) -> None:
        name = one.name
        if news.what == "typed":
            await self._typed(news.text, one)
        elif news.what == "dug_out":
            await self._count(self._target(news.name), TILT)
        elif news.name != name:
            pass  # of the one before, on its way to the shelf
        elif news.what == "ended":
            await self._call_back(f"{name} fell silent {news.text}. To let it send: again.")
        elif news.what == "lost":
            self.tell(f"{name} is out of reach. If your transceiver hears nothing of it:")
            self._find_by_tape(one)
        elif news.what == "back":
            self.tell(f"{name} is in reach again.")
        elif news.what == "restarted":
            await self._restarted(one)

    async def _typed(self, text: str, one: BuiltTarget) -> None:
        word = text.casefold()
        known = {target.name.casefold(): target for target in self.single.place.targets}
        if word in known:
            await self._count(known[word], PERSON)
        elif not word:
            self.tell(f"Nothing was counted. When {one.name} is in your hands, type: out")
        elif word == "out":
            await self._out(one)
        elif word == "again":
            await self._again(one)
        elif word == "skip":
            self.roll.leave(one.target)
        elif word == "undo":
            await self._undo()
        elif word == "stop":
            self._stopped = True
        else:
            near = difflib.get_close_matches(
                word, [*known, "out", "again", "skip", "undo", "stop"], 1
            )
            hint = f' Did you mean "{near[0]}"?' if near else ""
            self.tell(f'"{text}" is no target of this field and no word known here.{hint} {WORDS}')

    async def _out(self, one: BuiltTarget) -> None:
        passed_s = asyncio.get_running_loop().time() - self._begun_s
        if passed_s < OUT_REST_S and TILT in list(self.roll.home.values())[-1:]:
            last = next(reversed(self.roll.home))
            self.tell(f"{last} is counted already. When {one.name} is out too, once more: out")
            return
        await self._count(one.target, PERSON)

    async def _again(self, one: BuiltTarget) -> None:
        if await self.single.hush():
            await self._let_send(one)
        else:
            self.tell(f"{one.name} is out of reach: nothing can be asked of it now.")

    async def _undo(self) -> None:
        target = self.roll.take_back()
        if target is None:
            self.tell(
                "Nothing was counted in this time. For one counted wrongly before: blindfield state"
            )
            return
        state = self._before.get(target.name, TargetState.IN_PLACE)
        await self._keep(target, state, "counted in by mistake", depth_m=target.depth_m)
        self.tell(f"{target.name} is out again, and will have its turn. {self.roll.sentence()}")

    async def _restarted(self, one: BuiltTarget) -> None:
        """A device that restarted is silent; it goes on with what is left of its 20 min."""
        self._restarts += 1
        try:
            if self._restarts > MOST_RESTARTS:
                raise NotReady("restarts again and again.", device=one.name)
            await self.single.send_on(one.target)
            self.tell(f"{one.name} had restarted; it sends again.")
        except (LinkError, Refused, NotReady) as error:
            await self._call_back(f"{one.name} restarted and is silent: {error.what}")
            self._find_by_tape(one)

    # Counting

    def _target(self, name: str) -> Target:
        return self.roll.built.field.target_named(name)

    async def _count(self, target: Target, means: str) -> None:
        target = self._target(target.name)
        if not self.roll.count_in(target, means):
            if means == PERSON:
                self.tell(f"{target.name} is counted already.")
            return
        self._before[target.name] = target.state
        await self._keep(target, TargetState.DUG_OUT, means)
        self.tell(f"{target.name} is in, {means}. {self.roll.sentence()}")
        await self._sound(HORN_FOUND)

    async def _keep(self, target: Target, state: TargetState, note: str, **more: float) -> None:
        await self.single.recorder.say(
            "state",
            "person",
            device=target.name,
            state=state.value,
            author=self._author,
            field=self.single.place.name,
            note=note,
            **more,
        )

    # From one to the next

    async def _hand_over(self) -> None:
        """Two signals at once mislead: none begins before the last one cannot come any more."""
        if await self.single.hush() or self._stopped:
            return
        for sentence in doubtful_of(self.single).values():
            await self._call_back(f"{sentence}.")
        self.tell("Switch it off or take its cells out, then type off. The next one waits for it.")
        while not (self._stopped or await self.single.hush()):
            try:
                async with asyncio.timeout(RETRY_S):
                    await self._act_on_waiting(await self.single.heard())
            except TimeoutError:
                pass

    async def _act_on_waiting(self, news: News) -> None:
        word = news.text.casefold()
        if news.what == "dug_out":
            await self._count(self._target(news.name), TILT)
        elif word == "off":
            self.single.switched_off()
        elif word == "stop":
            self._stopped = True
        elif news.what == "typed":
            self.tell("First the one that may still send: switch it off, then type off.")

    async def _call_back(self, text: str) -> None:
        """Something for the person at the terminal, who may be far from it: the horn calls."""
        self.tell(text)
        await self._sound(HORN_CANNOT_START)

    async def _sound(self, pattern: int) -> None:
        try:
            await self.single.sound(pattern)
        except (BlindfieldError, LookupError):
            pass  # the horn is a comfort: no target stays out for it
