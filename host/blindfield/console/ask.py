"""Questions to the person at the terminal. Whatever is not a clear answer counts as no."""

from __future__ import annotations

import sys


def answer(question: str) -> str:
    """What was typed, in small letters; empty when nobody sits there or the input ended."""
    if not sys.stdin.isatty():
        return ""
    try:
        return input(question).strip().lower()
    except EOFError:
        print()
        return ""
