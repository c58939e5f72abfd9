"""How many problems the draw finds in a planned field: counted as `draw` counts, none its own."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from blindfield.drills.catalogue import Catalogue
from blindfield.drills.feasible import ground_of
from blindfield.drills.history import history_of
from blindfield.drills.outlook import Outlook
from blindfield.field.as_built import DEPTH_BAND_M
from blindfield.field.plan_moves import Move
from blindfield.model.field import Field


@dataclass(frozen=True)
class Drawable:
    """Different `problems` that can be drawn; `kinds` of the catalogue that have some, with how
    many (one problem may be of several kinds); `absent`: kinds that cannot be set, and why."""

    problems: int
    kinds: dict[str, int]
    absent: dict[str, str]


@dataclass(frozen=True)
class Gain:
    """What a move would bring: `more` problems to draw than now, `new_kinds` of the catalogue."""

    more: int
    new_kinds: tuple[str, ...]


@dataclass(frozen=True)
class DrawRules:
    """What the draw goes by: its catalogue, the receiver's range, targets it leaves out."""

    catalogue: Catalogue
    range_m: float
    kept_out: frozenset[str] = frozenset()

    def drawable(self, planned: Field) -> Drawable:
        """For somebody who never searched here, search only, as `draw` counts unasked."""
        outlook = self._outlook(planned)
        kinds = outlook.kinds()
        return Drawable(
            len(outlook.problems),
            {one.drill.kind: one.problems for one in kinds if one.problems},
            {one.drill.kind: one.reason for one in kinds if one.reason},
        )

    def _outlook(self, planned: Field) -> Outlook:
        ground = ground_of(
            planned,
            leave_out=self.kept_out,
            range_m=self.range_m,
            depth_band_m=DEPTH_BAND_M,
        )
        history = history_of((), field_name=planned.name, knows_places=False)
        return Outlook(ground, tuple(self.catalogue.drills.values()), history, "search only")

    def gains(self, planned: Field, moves: Iterable[Move]) -> list[Gain]:
        """One for each move."""
        now = self.drawable(planned)
        return [self._gain(now, self.drawable(_moved(planned, move))) for move in moves]

    @staticmethod
    def _gain(now: Drawable, then: Drawable) -> Gain:
        new = tuple(kind for kind in then.kinds if kind not in now.kinds)
        return Gain(then.problems - now.problems, new)


def _moved(planned: Field, move: Move) -> Field:
    targets = tuple(
        replace(
            target,
            x_m=move.x_m,
            y_m=move.y_m,
            antenna_azimuth_deg=move.antenna_azimuth_deg,
            antenna_tilt_deg=move.antenna_tilt_deg,
        )
        if target.name == move.target.name
        else target
        for target in planned.targets
    )
    return replace(planned, targets=targets)
