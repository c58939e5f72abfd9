"""The one check command: format, lint, types, tests. `python tests/check.py [pytest arguments]`.

Runs all four even when one fails, then says which passed. Exit code 0 only if all did.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

Check = tuple[str, tuple[str, ...]]


def checks(pytest_arguments: list[str]) -> tuple[Check, ...]:
    return (
        ("format", ("ruff", "format", "--check", ".")),
        ("lint", ("ruff", "check", ".")),
        ("types", ("mypy",)),
        ("tests", ("pytest", "-n", "2", "--dist", "loadfile", *pytest_arguments)),
    )


def passes(module_and_arguments: tuple[str, ...]) -> bool:
    command = [sys.executable, "-m", *module_and_arguments]
    return subprocess.run(command, cwd=ROOT, check=False).returncode == 0


def main(pytest_arguments: list[str]) -> int:
    lines, failed = [], 0
    for name, command in checks(pytest_arguments):
        print(f"-- {name}: {' '.join(command)}", flush=True)
        begun_s = time.monotonic()
        good = passes(command)
        failed += not good
        verdict = "ok    " if good else "FAILED"
        lines.append(f"{name:<8}{verdict}{time.monotonic() - begun_s:7.1f} s")
    print("--", *lines, sep="\n", flush=True)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
