"""Makes the numbers of the shared core and the tables of PROTOCOL.md from the host's tables.

`python -m blindfield.model.generate` rewrites them in a checkout: `fieldcore/wire.py`, which the
host reads, and in each module of the core the block of those numbers that it uses. They stand
there as private constants because a device has no room for their names: MicroPython's compiler
drops the name of a private constant, but keeps every public one in memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from blindfield.model import messages as m
from blindfield.model.settings import SETTINGS

BEGIN = "<!-- tables: made by `python -m blindfield.model.generate` -->"
END = "<!-- end of tables -->"


BLOCK_BEGIN = "# made by blindfield.model.generate\n"
BLOCK_END = "# end of what is made\n"


def compact_table() -> str:
    """The source of `fieldcore/wire.py`."""
    lines = [
        '"""Made from the host\'s message table by `python -m blindfield.model.generate`.',
        "",
        "For the host and the tests: a device does not import it, see there.",
        '"""',
        "",
        "from fieldcore.compat import const",
        "",
        f"MAJOR = const({m.MAJOR})",
        f"MINOR = const({m.MINOR})",
        f"SHEET_BYTES = const({m.SHEET_BYTES})",
        f"MAX_CUES = const({m.MAX_CUES})",
        f"MAX_SLOTS = const({m.MAX_SLOTS})",
        f"RUN_CAP_MS = const({m.RUN_CAP_MS})",
        f"PERIOD_MIN_US = const({m.PERIOD_US[0]})",
        f"PERIOD_MAX_US = const({m.PERIOD_US[1]})",
        f"ON_MIN_US = const({m.ON_US[0]})",
        f"ON_MAX_US = const({m.ON_US[1]})",
        f"OFF_MIN_US = const({m.OFF_MIN_US})",
        f"LEASE_MIN_MS = const({m.LEASE_MS[0]})",
        f"LEASE_MAX_MS = const({m.LEASE_MS[1]})",
        "",
        *(f"{spec.name.upper()} = const({spec.id})" for spec in m.MESSAGES),
        "",
        *_numbered("NO", m.REFUSALS),
        "",
        *_numbered("EVENT", m.EVENTS),
        "",
        *_numbered("END", m.ENDS),
        "",
        *_numbered("BY", m.SILENCE_CAUSES),
        "",
        *_numbered("CUE", m.TRIGGERS),
        "",
    ]
    return "\n".join(lines)


def with_block(source: str) -> str:
    """`source` of a module of the core with its block made anew (as it is when it has none)."""
    before, begin, rest = source.partition(BLOCK_BEGIN)
    _, _, after = rest.partition(BLOCK_END)
    if not begin:
        return source
    used = set(re.findall(r"\b_[A-Z][A-Z_]*\b", before + after))
    lines = [f"_{line}\n" for line in compact_table().splitlines() if "_" + _name(line) in used]
    rows = {"_DEFAULTS": "default", "_LEAST": "least", "_MOST": "most"}
    for name, field in rows.items():
        if name in used:
            lines.append(f"{name} = {tuple(getattr(row, field) for row in SETTINGS)}\n")
    if "_SHAPES" in used:
        lines += ["_SHAPES = (\n", *(f"    {_shape(spec)!r}\n" for spec in m.MESSAGES), ")\n"]
    return before + begin + "".join(lines).replace("'", '"') + BLOCK_END + after


def _name(line: str) -> str:
    return line.partition(" = const(")[0]


def _numbered(prefix: str, rows: Iterable[tuple[str, str]]) -> list[str]:
    return [f"{prefix}_{name.upper()} = const({n})" for n, (name, _) in enumerate(rows, 1)]


def _shape(spec: m.MessageSpec) -> bytes:
    """Id with its high bit set, a letter for each field, a full stop."""
    letters = "".join(m.KINDS[f.kind][0] for f in spec.fields)
    return bytes((0x80 | spec.id,)) + letters.encode() + b"."


def protocol_tables() -> str:
    """The generated part of PROTOCOL.md: messages, refusals, events, ends, causes, triggers."""
    parts = [BEGIN, "", "### Messages", ""]
    parts += ["| id | name | sender | travels | fields | meaning |", "|---|---|---|---|---|---|"]
    parts += [_message_row(spec) for spec in m.MESSAGES]
    for title, rows in (
        ("Refusals (the device ...)", m.REFUSALS),
        ("Events (journal records)", m.EVENTS),
        ("Reasons of an end", m.ENDS),
        ("Causes of a silence", m.SILENCE_CAUSES),
        ("Triggers of cues", m.TRIGGERS),
    ):
        parts += ["", f"### {title}", "", "| number | name | meaning |", "|---|---|---|"]
        parts += [f"| {n} | {name} | {doc} |" for n, (name, doc) in enumerate(rows, 1)]
    return "\n".join([*parts, "", END])


def _message_row(spec: m.MessageSpec) -> str:
    fields = ", ".join(f"{f.name} {f.kind}" for f in spec.fields) or "none"
    return f"| {spec.id} | {spec.name} | {spec.sender} | {spec.travels} | {fields} | {spec.doc} |"


def with_tables(text: str) -> str:
    """`text` of PROTOCOL.md with its generated part made anew."""
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return before + protocol_tables() + after


def main() -> None:
    firmware = Path(__file__).resolve().parents[3] / "firmware"
    for path in sorted((firmware / "fieldcore").glob("*.py")):
        made = with_block(path.read_text(encoding="utf-8"))
        path.write_text(compact_table() if path.name == "wire.py" else made, encoding="utf-8")
    protocol = firmware / "PROTOCOL.md"
    protocol.write_text(with_tables(protocol.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
