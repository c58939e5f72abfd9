"""The import rule as a table, and the reading of a source tree against it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

# A room may import every room of an earlier row, and itself.
ROWS: tuple[tuple[str, ...], ...] = (
    ("fieldcore",),
    ("model",),
    ("physics", "field", "links", "logbook"),
    ("searcher",),
    ("drills", "scoring", "debrief"),
    ("conduct",),
    ("console",),
)
SIBLINGS = {("field", "physics"), ("debrief", "scoring")}
OURS = {"blindfield", "fieldcore", "fielddevice", "support"}
# The core has no I/O, no clock and no hardware.
NOT_FOR_CORE = {"asyncio", "bluetooth", "machine", "os", "random", "select", "socket", "time"}
ROW_OF = {room: row for row, rooms in enumerate(ROWS) for room in rooms}


@dataclass(frozen=True)
class Import:
    file: Path
    line: int
    module: str


def may_import(room: str, other: str) -> bool:
    if room == "fielddevice":
        return other in ("fielddevice", "fieldcore")
    if room not in ROW_OF or other not in ROW_OF:
        return False
    return room == other or ROW_OF[other] < ROW_OF[room] or (room, other) in SIBLINGS


def imports_of(file: Path, package: str) -> Iterator[Import]:
    """Every import in `file`, inside functions and `import_module("...")` too, as full names.

    `package`: the dotted package that holds the file. `from a import b` yields a.b.
    """
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"), str(file))):
        for module in _modules(node, package):
            yield Import(file, getattr(node, "lineno", 0), module)


def _modules(node: ast.AST, package: str) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        base = _absolute(node, package)
        return [f"{base}.{alias.name}" for alias in node.names]
    if isinstance(node, ast.Call):
        return _dynamic(node)
    return []


def _absolute(node: ast.ImportFrom, package: str) -> str:
    if node.level == 0:
        return node.module or ""
    parts = package.split(".")
    parents = parts[: len(parts) - node.level + 1]
    return ".".join([*parents, node.module] if node.module else parents)


def _dynamic(call: ast.Call) -> list[str]:
    name = getattr(call.func, "attr", None) or getattr(call.func, "id", None)
    if name not in ("import_module", "__import__") or not call.args:
        return []
    first = call.args[0]
    return [first.value] if isinstance(first, ast.Constant) and isinstance(first.value, str) else []


def room_of(module: str) -> str | None:
    """The room a full name belongs to; None: not ours, or the bare package `blindfield`."""
    top, *rest = module.split(".")
    if top not in OURS:
        return None
    if top != "blindfield":
        return top
    return rest[0] if rest and not rest[0].startswith("__") else None


def violations(root: Path) -> list[str]:
    """One line per import, or per misplaced file, that breaks the rule in the tree at `root`."""
    found = []
    for file, package in sources(root):
        room = room_of(package) or _loose(file)
        if room is None:
            found.append(f"{file.relative_to(root)}: belongs to no room")
            continue
        for one in imports_of(file, package):
            if reason := _broken(room, one.module):
                found.append(f"{file.relative_to(root)}:{one.line}: {reason}")
    return found


def sources(root: Path) -> Iterator[tuple[Path, str]]:
    for base, top in (
        ("host", "blindfield"),
        ("firmware", "fieldcore"),
        ("firmware", "fielddevice"),
    ):
        for file in sorted((root / base / top).rglob("*.py")):
            yield file, ".".join(file.relative_to(root / base).parent.parts)


def _loose(file: Path) -> str | None:
    """Files of the bare package: `__init__` may import nothing of ours, `__main__` the console."""
    return {"__init__.py": "fieldcore", "__main__.py": "console"}.get(file.name)


def _broken(room: str, module: str) -> str | None:
    other = room_of(module)
    if other is not None and not may_import(room, other):
        return f"{room} may not import {other} ({module})"
    if room == "fieldcore" and module.split(".")[0] in NOT_FOR_CORE:
        return f"the core does no I/O and reads no clock ({module})"
    return None
