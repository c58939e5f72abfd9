"""How the pictures of a search mark what only they show."""

from __future__ import annotations

from blindfield.field.prints_ink import SIGN, Mark

LEFT: Mark = {**SIGN, "marker": "s", "ms": 8, "mew": 2.0, "zorder": 7}
STRUCK: Mark = {**SIGN, "marker": "x", "ms": 8, "mew": 2.6, "zorder": 9}
PROBE: Mark = {**SIGN, "marker": "o", "ms": 3.6, "mew": 1.0, "zorder": 6}
