"""A range test while it is walked: one target sends, a person enters where the signal goes."""

from __future__ import annotations

from collections.abc import Callable

from blindfield.conduct.single import News, Single
from blindfield.field.receive_range import LEAST_PASSES, Pass, read_metres, read_pass
from blindfield.model.errors import ConfigError, LinkError, NotReady
from blindfield.model.field import Target

HOW = (
    "Walk away along the tape, transceiver to SEARCH and turned for the strongest signal. A line "
    "for each reading: metres where the signal is lost, then metres where it is found on the way "
    'back (or both in one line: 42 38). "." repeats, undo takes the last one away, an empty line '
    "ends."
)


class RangeWalk:
    """Takes what is typed, as news of `single`; `passes` holds those that are sure.

    A pass is sure once the target says, after it, that it is sending still: nothing starts it
    again meanwhile, so it has sent all along.
    """

    def __init__(self, single: Single, target: Target, tell: Callable[[str], None]) -> None:
        self.single = single
        self.target = target
        self.tell = tell
        self.passes: list[Pass] = []
        self._unsure: list[Pass] = []
        self._lost_m: float | None = None
        self._over = False
        self._asked_to_end = False

    async def walk(self) -> list[Pass]:
        """The passes. Raises NotReady once silenced, or when they are too few."""
        await self.single.send(self.target)
        self.tell(f"{self.target.name} sends, for 20 min at most.")
        self.tell(HOW)
        while not self._over:
            self._ask()
            await self._act_on(await self.single.heard())
        await self._settle()
        if self._unsure:
            self.tell(
                f"Passes left out: {len(self._unsure)}. Nobody knows whether {self.target.name} "
                "was sending then."
            )
        if len(self.passes) < LEAST_PASSES:
            raise NotReady(
                f"too few passes ({len(self.passes)}): nothing was kept.",
                remedy=f"A range and its spread need {LEAST_PASSES} at least.",
            )
        return self.passes

    @property
    def _walked(self) -> list[Pass]:
        return [*self.passes, *self._unsure]

    def _ask(self) -> None:
        number = len(self._walked) + 1
        word = "lost" if self._lost_m is None else "found again"
        self.tell(f"Pass {number}, {word} at (m):")

    async def _act_on(self, news: News) -> None:
        name = self.target.name
        if news.what == "typed":
            await self._typed(news.text)
        elif news.name != name:
            pass
        elif news.what in ("ended", "restarted", "dug_out"):
            self.tell(f"{name} does not send any more: the pass under way does not count.")
            self._over = True
        elif news.what == "lost":
            self.tell(f"{name} is out of reach: it may send or not, and nobody can tell now.")

    async def _typed(self, text: str) -> None:
        asked, self._asked_to_end = self._asked_to_end, False
        if not text:
            self._end(asked)
        elif text.casefold() == "undo":
            self._undo()
        else:
            try:
                self._read(text)
            except ConfigError as error:
                self.tell(str(error))
                return
            await self._settle()

    def _read(self, text: str) -> None:
        before = self._walked[-1] if self._walked else None
        if self._lost_m is not None:
            found_m = read_metres(text, before.found_m if before else None)
            self._unsure.append(Pass(self._lost_m, found_m))
            self._lost_m = None
        elif len(text.replace("/", " ").split()) > 1:
            self._unsure.append(read_pass(text, before))
        else:
            self._lost_m = read_metres(text, before.lost_m if before else None)

    def _end(self, asked: bool) -> None:
        if self._lost_m is not None:
            self.tell("The pass under way is not whole and does not count.")
            self._lost_m = None
        if len(self._walked) >= LEAST_PASSES or asked:
            self._over = True
            return
        self._asked_to_end = True
        more = LEAST_PASSES - len(self._walked)
        self.tell(f"Passes still wanted: {more} at least. Another empty line gives up.")

    def _undo(self) -> None:
        if self._lost_m is not None:
            self._lost_m = None
        elif self._walked:
            (self._unsure or self.passes).pop()
        else:
            self.tell("There is nothing to take away yet.")

    async def _settle(self) -> None:
        """Passes up to now are sure if the target still sends; else those unsure stay so."""
        if not self._unsure:
            return
        try:
            sends = await self.single.sends_still()
        except LinkError:
            return
        if sends:
            self.passes += self._unsure
            self._unsure = []
        else:
            self._over = True
