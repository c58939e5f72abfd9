"""Inks and type of maps, prints and pictures: large and dark, for paper and for low sun.

What matters is told by shape and word, never by colour: any printer will do.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from matplotlib import rc_context, rcdefaults, rcParams

INK, GREY, FAINT = "#000000", "#7d7d7d", "#dcdcdc"
TITLE_PT, TEXT_PT, SMALL_PT = 17.0, 11.0, 9.5
PT_PER_INCH = 72.0
# About the width of a character in its size, plain and bold; for keeping words apart.
CHARACTER_WIDTH, BOLD_WIDTH = 0.62, 0.7

# What is drawn never depends on a person's own matplotlib settings.
SETTINGS: Any = {
    "font.size": TEXT_PT,
    "text.parse_math": False,  # a name may hold a dollar sign
    "axes.linewidth": 1.2,
    "axes.labelsize": TEXT_PT,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "hatch.linewidth": 0.6,
    "svg.fonttype": "none",  # words stay words: they can be searched, read aloud and enlarged
    "svg.hashsalt": "blindfield",
    "path.simplify": True,
}

# Words on white, centred on their place.
CARD: dict[str, Any] = {
    "ha": "center",
    "va": "center",
    "bbox": {"boxstyle": "square,pad=0.1", "fc": "white", "ec": "none"},
}


# How places are marked; the legend shows the same.
Mark = dict[str, Any]
SIGN: Mark = {"mec": INK, "mfc": "white", "ls": "none"}
START: Mark = {**SIGN, "marker": "^", "ms": 13, "mew": 2.2, "zorder": 8}
TARGET: Mark = {**SIGN, "marker": "o", "ms": 11, "mew": 2.0, "zorder": 8}
KEPT_OUT: Mark = {"fc": "none", "ec": GREY, "lw": 1.2, "hatch": "\\\\", "zorder": 1.2}


@contextmanager
def settings() -> Iterator[None]:
    """Our own settings of matplotlib, and nobody's else, until the block ends."""
    with rc_context(), warnings.catch_warnings():
        # A name in letters that the type does not have: in an SVG the reader's own type has them.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        rcdefaults()
        rcParams.update(SETTINGS)
        yield


def size_m(text: str, points: float, m_per_inch: float) -> tuple[float, float]:
    """About how wide and high words are on the ground that they cover."""
    m_per_pt = m_per_inch / PT_PER_INCH
    wide = (len(text) + 0.8) * CHARACTER_WIDTH * points * m_per_pt
    return wide, 1.5 * points * m_per_pt
