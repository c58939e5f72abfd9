"""The two commands that README.md promises; `python3 tests/support/readme.py test` prints one."""

from __future__ import annotations

import re
import sys
from pathlib import Path

README = Path(__file__).resolve().parents[2] / "README.md"
NAMES = ("demo", "test")

_BLOCK = re.compile(r"^```[^\n`]*\n(.*?)^```[ \t]*$", re.MULTILINE | re.DOTALL)


def blocks(text: str) -> list[str]:
    """The bodies of the fenced code blocks above the first second-level heading."""
    head = re.split(r"^## ", text, maxsplit=1, flags=re.MULTILINE)[0]
    return _BLOCK.findall(head)


def commands(text: str) -> dict[str, str]:
    """{"demo": line, "test": line}; ValueError unless there are just two blocks of one line."""
    found = [block.strip("\n") for block in blocks(text)]
    if len(found) != len(NAMES):
        raise ValueError(f"README.md: {len(found)} code blocks before the first ##, want 2")
    for line in found:
        if not line.strip() or "\n" in line:
            raise ValueError(f"README.md: a command must be one line, not {line!r}")
    return dict(zip(NAMES, found, strict=True))


if __name__ == "__main__":
    print(commands(README.read_text(encoding="utf-8"))[sys.argv[1]])
