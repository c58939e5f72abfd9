"""Keeps one search in detail while it is walked. It draws nothing, so it changes nothing."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from blindfield.searcher.values import Probe, Trace

Show = Callable[[float, float, float], tuple[float, float]]
"""Displayed distance and arrow at run time, x and y."""

Row = tuple[float, float, float, int, float, float, int]

ROW_S = 1.0


class Recorder:
    """Rows of a trace, no two more than a second apart, and the strokes of the probe."""

    def __init__(self) -> None:
        self._rows: list[Row] = []
        self.probes: list[Probe] = []

    def row(
        self,
        run_s: float,
        x_m: float,
        y_m: float,
        phase: int,
        displayed_m: float,
        arrow_deg: float,
        lead: int,
    ) -> None:
        """One more row. A gap longer than a second is filled: what was shown stood still."""
        if self._rows:
            run_s = max(run_s, self._rows[-1][0])  # the same instant, summed in another order
            self._fill(run_s, x_m, y_m)
        self._rows.append((run_s, x_m, y_m, phase, displayed_m, arrow_deg, lead))

    def path(
        self, corners: list[tuple[float, float, float]], phase: int, lead: int, show: Show
    ) -> None:
        """Rows along corners (run_s, x_m, y_m), with what `show` gives at each place."""
        for (from_s, from_x, from_y), (to_s, to_x, to_y) in pairwise(corners):
            for share in np.linspace(0.0, 1.0, self._parts(to_s - from_s) + 1)[1:].tolist():
                run_s = from_s + share * (to_s - from_s)
                x_m, y_m = from_x + share * (to_x - from_x), from_y + share * (to_y - from_y)
                self._rows.append((run_s, x_m, y_m, phase, *show(run_s, x_m, y_m), lead))

    def trace(self, found: dict[str, float], dug_out: dict[str, float], until_s: float) -> Trace:
        """All of it up to `until_s` as values."""
        rows = [row for row in self._rows if row[0] <= until_s]
        columns = [np.array(column) for column in zip(*rows, strict=True)]
        run_s, x_m, y_m, phase, displayed_m, arrow_deg, lead = columns
        return Trace(
            run_s=run_s,
            x_m=x_m,
            y_m=y_m,
            phase=phase.astype(np.int64),
            displayed_m=displayed_m,
            arrow_deg=arrow_deg,
            followed=lead.astype(np.int64),
            probes=tuple(probe for probe in self.probes if probe.run_s <= until_s),
            found=found,
            dug_out=dug_out,
        )

    def _fill(self, run_s: float, x_m: float, y_m: float) -> None:
        from_s, from_x, from_y, phase, displayed_m, arrow_deg, lead = self._rows[-1]
        for share in np.linspace(0.0, 1.0, self._parts(run_s - from_s) + 1)[1:-1].tolist():
            self._rows.append(
                (
                    from_s + share * (run_s - from_s),
                    from_x + share * (x_m - from_x),
                    from_y + share * (y_m - from_y),
                    phase,
                    displayed_m,
                    arrow_deg,
                    lead,
                )
            )

    @staticmethod
    def _parts(gap_s: float) -> int:
        return max(1, int(np.ceil(gap_s / ROW_S - 1e-9)))
