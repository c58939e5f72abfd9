"""Our own pictograms: a sender under the snow, and a shovel struck through. Black on white."""

from __future__ import annotations

import math

from matplotlib.patches import Arc, Circle, FancyBboxPatch, Polygon

from blindfield.field.prints_ink import INK
from blindfield.field.prints_page import Page

# Drawn in a square of side 1; the triangle's corners and the snow's surface within it.
_TRIANGLE = ((0.04, 0.1), (0.96, 0.1), (0.5, 0.9))
_SURFACE = ((0.26, 0.375), (0.34, 0.39), (0.42, 0.385), (0.5, 0.37), (0.58, 0.365), (0.66, 0.375),
            (0.74, 0.37))  # fmt: skip
_BOX = (0.42, 0.2, 0.16, 0.1)  # left, bottom, width, height
_RINGS = (0.2, 0.28, 0.36)
_RING_HALF_DEG = 16.0
_BLADE = ((-0.105, -0.1), (0.105, -0.1), (0.105, -0.3), (0.0, -0.39), (-0.105, -0.3))


def draw_buried_sender(page: Page, left_in: float, bottom_in: float, side_in: float) -> None:
    """A warning triangle: a box under the snow's surface, its signal going up through it."""

    def at(x: float, y: float) -> tuple[float, float]:
        return left_in + x * side_in, bottom_in + y * side_in

    edge_pt, line_pt = 5.5 * side_in, 2.7 * side_in
    page.add(
        Polygon([at(*corner) for corner in _TRIANGLE], closed=True, fc="none", ec=INK, lw=edge_pt,
                joinstyle="round")
    )  # fmt: skip
    surface = [at(*point) for point in _SURFACE]
    page.add(
        Polygon(surface, closed=False, fc="none", ec=INK, lw=line_pt, capstyle="round",
                joinstyle="round")
    )  # fmt: skip
    left, bottom, wide, high = _BOX
    corner = at(left + high / 5, bottom + high / 5)
    page.add(
        FancyBboxPatch(
            corner, (wide - high * 0.4) * side_in, high * 0.6 * side_in, fc=INK, ec=INK, lw=0.0,
            boxstyle=f"round,pad={high / 5 * side_in}",
        )
    )  # fmt: skip
    middle = at(left + wide / 2, bottom + high / 2)
    for radius in _RINGS:
        across = 2 * radius * side_in
        page.add(
            Arc(middle, across, across, theta1=90 - _RING_HALF_DEG, theta2=90 + _RING_HALF_DEG,
                ec=INK, lw=line_pt, capstyle="round")
        )  # fmt: skip


def draw_no_digging(page: Page, left_in: float, bottom_in: float, side_in: float) -> None:
    """A shovel in a circle, struck through."""
    middle = (left_in + side_in / 2, bottom_in + side_in / 2)
    turn = math.radians(-35.0)

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            middle[0] + side_in * (x * math.cos(turn) - y * math.sin(turn)),
            middle[1] + side_in * (x * math.sin(turn) + y * math.cos(turn)),
        )

    def stroke(x1: float, y1: float, x2: float, y2: float, width_pt: float) -> None:
        begin, end = at(x1, y1), at(x2, y2)
        page.line((begin[0], end[0]), (begin[1], end[1]), lw=width_pt, solid_capstyle="round")

    thick_pt = 4.2 * side_in
    page.add(Polygon([at(*corner) for corner in _BLADE], closed=True, fc=INK, ec=INK, lw=1.0))
    stroke(0.0, -0.1, 0.0, 0.3, thick_pt)
    stroke(-0.075, 0.31, 0.075, 0.31, thick_pt)
    page.add(Circle(middle, 0.455 * side_in, fc="none", ec=INK, lw=6.5 * side_in))
    bar = 0.455 * side_in * math.cos(math.radians(45.0))
    xs, ys = (middle[0] - bar, middle[0] + bar), (middle[1] + bar, middle[1] - bar)
    page.line(xs, ys, lw=11.0 * side_in, color="white")  # the shovel breaks where it is struck
    page.line(xs, ys, lw=6.5 * side_in)
