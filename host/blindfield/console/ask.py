"""Questions to the person at the terminal. Whatever is not a clear answer counts as no."""

from __future__ import annotations

import sys


def confirmed(question: str) -> bool:
    """Whether it was answered with yes, or y (gloves). What is neither yes nor no is asked again,
    once."""
    for _ in range(2):
        said = answer(question)
        if said in ("y", "yes"):
            return True
        if said in ("", "n", "no"):
            return False
    return False


def answer(question: str) -> str:
    """What was typed, in small letters; empty when nobody sits there or the input ended."""
    if not sys.stdin.isatty():
        return ""
    try:
        return input(question).strip().lower()
    except EOFError:
        print()
        return ""
