"""A rectangle on the ground."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Area:
    """The rectangle shown, metres in the field's axes."""

    left_m: float
    bottom_m: float
    right_m: float
    top_m: float

    @property
    def width_m(self) -> float:
        return self.right_m - self.left_m

    @property
    def height_m(self) -> float:
        return self.top_m - self.bottom_m
