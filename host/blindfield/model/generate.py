"""Makes the device's compact table and the tables of PROTOCOL.md from `messages`.

`python -m blindfield.model.generate` rewrites both in a checkout.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from blindfield.model import messages as m

BEGIN = "<!-- tables: made by `python -m blindfield.model.generate` -->"
END = "<!-- end of tables -->"


def compact_table() -> str:
    """The source of `fieldcore/wire.py`."""
    lines = [
        '"""Made from the host\'s message table by `python -m blindfield.model.generate`."""',
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
        "SHAPES = {",
        *(f'    {spec.id}: "{_shape(spec)}",' for spec in m.MESSAGES),
        "}",
        "",
    ]
    return "\n".join(lines)


def _numbered(prefix: str, rows: Iterable[tuple[str, str]]) -> list[str]:
    return [f"{prefix}_{name.upper()} = const({n})" for n, (name, _) in enumerate(rows, 1)]


def _shape(spec: m.MessageSpec) -> str:
    return "".join(m.KINDS[f.kind][0] for f in spec.fields)


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
    (firmware / "fieldcore" / "wire.py").write_text(compact_table(), encoding="utf-8")
    protocol = firmware / "PROTOCOL.md"
    protocol.write_text(with_tables(protocol.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
