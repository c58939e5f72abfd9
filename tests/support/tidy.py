"""What may not stand in a file of this repository, and which files are in it."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

TOP_LEVEL = {
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "firmware",
    "hardware",
    "host",
    "pyproject.toml",
    "tests",
}
LARGEST_BYTES = 1_000_000
LONGEST_FILE_LINES = 400
LONGEST_FUNCTION_LINES = 60

FORBIDDEN = {
    "a path of one machine": re.compile(r"(?<![\w.)}\]])/(work|root|tmp|home|farm|Users)/"),
    "a package registry's host": re.compile(
        r"pypi\.org|pythonhosted\.org|npmjs\.(org|com)|(deb|security)\.debian\.org|index[-_]url",
        re.IGNORECASE,
    ),
    "a merge marker": re.compile(r"^(<{7}|>{7}|\|{7}|={7})( |$)", re.MULTILINE),
}


def repository_files(root: Path) -> list[Path] | None:
    """Tracked files and those not ignored, as git sees them; None where git cannot say."""
    if shutil.which("git") is None:
        return None
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    done = subprocess.run(command, cwd=root, capture_output=True, check=False)
    if done.returncode != 0:
        return None
    names = sorted(set(done.stdout.decode().split("\0")) - {""})
    return [path for path in (root / name for name in names) if path.is_file()]


def faults(path: Path) -> Iterator[str]:
    """One line for each thing wrong with the file."""
    size = path.stat().st_size
    if size > LARGEST_BYTES:
        yield f"{size} bytes"
    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return  # data: only its size counts
    yield from _text_faults(text)
    if path.suffix == ".py":
        yield from _python_faults(text)


def _text_faults(text: str) -> Iterator[str]:
    for what, pattern in FORBIDDEN.items():
        for match in pattern.finditer(text):
            yield f"line {text.count(chr(10), 0, match.start()) + 1}: {what}: {match.group()!r}"


def _python_faults(text: str) -> Iterator[str]:
    lines = text.splitlines()
    if len(lines) > LONGEST_FILE_LINES:
        yield f"{len(lines)} lines"
    for number, line in enumerate(lines, 1):
        if "\t" in line:
            yield f"line {number}: a tab"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if length > LONGEST_FUNCTION_LINES:
                yield f"line {node.lineno}: {node.name} has {length} lines"


def strangers(root: Path, files: list[Path]) -> set[str]:
    """Top-level entries that are neither allowed nor hidden."""
    tops = {path.relative_to(root).parts[0] for path in files}
    return {top for top in tops if not top.startswith(".")} - TOP_LEVEL
