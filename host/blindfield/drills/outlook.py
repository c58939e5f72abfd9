"""What could be drawn for a searcher on a field, how much is left, and how well it is guessed.

A problem is a set of targets with the order in which their signals come into range from a start:
starts that give the same order give the same problem.

The guess advantage. The knower knows where every target lies, the rule of the draw and all that was
drawn for this searcher before, and names one set of targets. The stranger knows how many targets
there are and how often so many of them send, and names one set. The advantage is the knower's
chance of naming the very set that will send over the stranger's: 1 means that knowing is no use.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import comb

from blindfield.drills.drill import Drill
from blindfield.drills.feasible import Ground, TargetSet, sets_of, why_not
from blindfield.drills.geometry import order_into_range
from blindfield.drills.history import History
from blindfield.drills.weights import freshness, kind_shares
from blindfield.model.field import StartPoint
from blindfield.model.scenario import Work

Problem = tuple[TargetSet, tuple[str, ...]]

USED_UP_LEFT = 0.2  # fewer problems left than this share of all ...
USED_UP_GUESS = 1.0 / 3.0  # ... or a best guess that is right so often: ours


@dataclass(frozen=True)
class KindOutlook:
    """One kind. `reason`: why it cannot be set, else empty; `share`: how likely it is drawn next
    (for nobody's eyes before a run); `waits`: it comes only once one of these kinds was met;
    `problems` it has here, and how many of them this searcher has not met."""

    drill: Drill
    reason: str
    share: float
    waits: tuple[str, ...]
    tried: int
    judged: int
    met: int
    problems: int
    left: int


@dataclass(frozen=True)
class Outlook:
    """`knows`: the searcher knows where the targets lie."""

    ground: Ground
    drills: tuple[Drill, ...]
    history: History
    work: Work
    knows: bool = False

    @cached_property
    def able(self) -> tuple[Drill, ...]:
        """Kinds that can be set and may be drawn."""
        return tuple(d for d in self.drills if d.drawn and not why_not(self.ground, d, self.work))

    @cached_property
    def shares(self) -> dict[str, float]:
        return kind_shares(self.able, self.work, self.history) if self.able else {}

    def kinds(self) -> list[KindOutlook]:
        """Every kind of the catalogue, in its order."""
        return [self._kind(drill) for drill in self.drills]

    def _kind(self, drill: Drill) -> KindOutlook:
        practice = self.history.of(drill.kind, self._work(drill))
        problems = set(self._problems([drill])) if drill in self.able else set()
        return KindOutlook(
            drill=drill,
            reason=why_not(self.ground, drill, self._work(drill)),
            share=self.shares.get(drill.kind, 0.0),
            waits=self._waits(drill),
            tried=practice.tried,
            judged=practice.judged,
            met=practice.met,
            problems=len(problems),
            left=len(problems - self._seen),
        )

    def _waits(self, drill: Drill) -> tuple[str, ...]:
        here = {able.kind for able in self.able}
        if drill.kind not in here or drill.kind in self.shares:
            return ()
        return tuple(kind for kind in drill.after if kind in here)

    def _work(self, drill: Drill) -> Work:
        return drill.work[0] if len(drill.work) == 1 else self.work

    @cached_property
    def problems(self) -> frozenset[Problem]:
        """All different problems that can be drawn here."""
        return frozenset(self._problems(self.able))

    @cached_property
    def left(self) -> int:
        """How many of them this searcher has not met."""
        return len(self.problems - self._seen)

    def _problems(self, drills: Iterable[Drill]) -> Iterator[Problem]:
        every = {s: None for d in drills for s in self._sets(d)}
        for chosen in every:
            for start in self.ground.place.start_points:
                yield chosen, self._order(chosen, start)

    def _order(self, chosen: TargetSet, start: StartPoint) -> tuple[str, ...]:
        order = self._orders.get(start.name)
        if order is None:
            order = order_into_range(self.ground.present, start, self.ground.range_m)
            self._orders[start.name] = order
        return tuple(name for name in order if name in chosen)

    @cached_property
    def _orders(self) -> dict[str, tuple[str, ...]]:
        return {}

    @cached_property
    def _seen(self) -> frozenset[Problem]:
        starts = {start.name: start for start in self.ground.place.start_points}
        here = {target.name for target in self.ground.present}
        return frozenset(
            (chosen, self._order(chosen, starts[start]))
            for chosen, start in self.history.met_before
            if start in starts and chosen <= here
        )

    def _sets(self, drill: Drill) -> list[TargetSet]:
        return [one for sets in sets_of(self.ground, drill, self.work).values() for one in sets]

    def set_weights(self, drill: Drill) -> dict[TargetSet, float]:
        """Target set -> how welcome it is now, 0 to 1."""
        return freshness(self._sets(drill), self.history.last_set, self.history.times)

    def start_weights(self) -> dict[str, float]:
        """Start -> the same."""
        names = [start.name for start in self.ground.place.start_points]
        return freshness(names, self.history.last_start, {})

    def next_sets(self) -> dict[TargetSet, float]:
        """Target set -> how likely it is the one that sends next; sums to 1."""
        likely: dict[TargetSet, float] = {}
        for drill in self.able:
            weights = self.set_weights(drill)
            by_number = sets_of(self.ground, drill, self.work)
            for chosen, share in _drawn(drill, by_number, weights):
                more = share * self.shares.get(drill.kind, 0.0)
                likely[chosen] = likely.get(chosen, 0.0) + more
        return likely

    @cached_property
    def best_guess(self) -> float:
        """How often the knower's single guess is right."""
        return max(self.next_sets().values(), default=0.0)

    @cached_property
    def chance(self) -> float:
        """How often the stranger's single guess is right."""
        numbers: dict[int, float] = {}
        for chosen, share in self.next_sets().items():
            numbers[len(chosen)] = numbers.get(len(chosen), 0.0) + share
        targets = len({name for chosen in self.next_sets() for name in chosen})
        return max((p / comb(targets, n) for n, p in numbers.items()), default=0.0)

    @property
    def guess_advantage(self) -> float:
        return self.best_guess / self.chance if self.chance else 1.0

    @property
    def used_up(self) -> bool:
        """Whether this field has little left for this searcher."""
        if not self.problems or not (self.history.runs_here or self.knows):
            return False
        few = self.left < USED_UP_LEFT * len(self.problems)
        return few or self.best_guess >= USED_UP_GUESS


def _drawn(
    drill: Drill, by_number: dict[int, dict[TargetSet, None]], weights: dict[TargetSet, float]
) -> Iterator[tuple[TargetSet, float]]:
    """Each set of one kind with its share: numbers as often as the drill lists them, sets of a
    number evenly, both then taken as often as they are welcome."""
    listed: Sequence[int] = [number for number in drill.targets if number in by_number]
    raw = {
        chosen: listed.count(number) / len(by_number[number]) * weights[chosen]
        for number in by_number
        for chosen in by_number[number]
    }
    total = sum(raw.values())
    return ((chosen, share / total) for chosen, share in raw.items() if total)
