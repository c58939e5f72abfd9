"""The roll of a field's targets: which are still out, which are in, and who is next."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from blindfield.field.as_built import AsBuilt, BuiltTarget
from blindfield.model.field import Point, Target


@dataclass
class Roll:
    """`here_m` is where the person stands. `heard`: names of those that answer. `home`: name ->
    how it was known to be dug out, in the order of counting; `later`: those left for another day.
    """

    built: AsBuilt
    here_m: Point
    heard: set[str] = field(default_factory=set)
    home: dict[str, str] = field(default_factory=dict)
    later: set[str] = field(default_factory=set)

    @property
    def out(self) -> tuple[Target, ...]:
        """All that this count is about: those that lay in the snow when it began."""
        return tuple(one.target for one in self.built.targets if one.target.state.lies)

    @property
    def before(self) -> tuple[str, ...]:
        """Names of those that were in before it began."""
        return tuple(one.name for one in self.built.targets if not one.target.state.lies)

    @property
    def missing(self) -> tuple[Target, ...]:
        return tuple(target for target in self.out if target.name not in self.home)

    @property
    def complete(self) -> bool:
        return not self.missing

    def next(self) -> BuiltTarget | None:
        """The nearest that answers; those frozen in after all others, the unheard at the end."""
        waiting = [target for target in self.missing if target.name not in self.later]
        if not waiting:
            return None
        return self.built.target_named(min(waiting, key=self._turn).name)

    def _turn(self, target: Target) -> tuple[bool, bool, float, str]:
        unheard = target.name not in self.heard
        return unheard, not target.state.may_be_dug, self.distance_m(target), target.name

    def distance_m(self, target: Target) -> float:
        """From where the person stands, along the ground."""
        return math.dist(self.here_m, (target.x_m, target.y_m))

    def count_in(self, target: Target, means: str) -> bool:
        """Whether it was still out; from now on the person stands at its hole."""
        if target.name in self.home or not target.state.lies:
            return False
        self.home[target.name] = means
        self.later.discard(target.name)
        self.here_m = (target.x_m, target.y_m)
        return True

    def take_back(self) -> Target | None:
        """The last one counted in was not; which it was."""
        if not self.home:
            return None
        name, _ = self.home.popitem()
        return self.built.field.target_named(name)

    def leave(self, target: Target) -> None:
        """Not today; the person is near it all the same."""
        self.later.add(target.name)
        self.here_m = (target.x_m, target.y_m)

    def sentence(self) -> str:
        """How many are in, of how many."""
        earlier = f" ({len(self.before)} more were in before)" if self.before else ""
        return f"{len(self.home)} of {len(self.out)} counted in{earlier}."
