"""Numbered steps from an empty file to the tables of today.

Step n brings version n-1 to version n. Steps are never changed once released: a table that changes
gets a further step, and the definitions the earlier steps relied on move here beside them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence

from sqlalchemy import Connection, func, insert, inspect, select, text

from blindfield.logbook import schema, version_1
from blindfield.logbook.database import Database
from blindfield.model.errors import LogbookError

Step = Callable[[Connection], None]


def _tables_of_version_1(connection: Connection) -> None:
    version_1.metadata.create_all(connection)


def _who_searched_what(connection: Connection) -> None:
    """Version 2: what the next draw must know of a run stands in its row; of runs made before, as
    far as their records tell."""
    for name, kind in _NEW_IN_2:
        connection.exec_driver_sql(f"ALTER TABLE runs ADD COLUMN {name} {kind}")
    connection.exec_driver_sql("CREATE INDEX events_by_kind ON events (kind, device_id)")
    connection.exec_driver_sql("CREATE INDEX runs_by_searcher ON runs (searcher, number)")
    query = (
        "SELECT runs.run_id, events.data FROM runs JOIN events ON events.run_id = runs.run_id "
        "WHERE events.kind = 'run_drawn' AND NOT runs.is_open"
    )
    for run_id, data in connection.exec_driver_sql(query).all():
        connection.execute(_FILL_IN_2, {"run_id": run_id, **_drawn_in_version_1(data)})
    connection.exec_driver_sql(
        "UPDATE runs SET searcher = '', knows_places = 0 WHERE NOT is_open AND searcher IS NULL"
    )


_NEW_IN_2 = (
    ("work", "TEXT"),
    ("searcher", "TEXT"),
    ("knows_places", "BOOLEAN"),
    ("start_point", "TEXT"),
    ("sent", "TEXT"),
)
_FILL_IN_2 = text(
    "UPDATE runs SET work = :work, start_point = :start_point, sent = :sent WHERE run_id = :run_id"
)


def _drawn_in_version_1(data: str) -> dict[str, str | None]:
    try:
        scenario = json.loads(data)["scenario"]
        return {
            "work": "search and dig" if scenario.get("end_on") == "dug_out" else "search only",
            "start_point": scenario["start"]["name"],
            "sent": json.dumps(sorted(t["name"] for t in scenario["targets"] if t["in_play"])),
        }
    except (ValueError, KeyError, TypeError, AttributeError):
        return {"work": None, "start_point": None, "sent": None}  # its debrief will say so


STEPS: tuple[Step, ...] = (_tables_of_version_1, _who_searched_what)


def migrate(database: Database, steps: Sequence[Step] = STEPS) -> None:
    """Brings the file to version `len(steps)`, all or nothing.

    Raises LogbookError for a file of a newer version and for one that is no logbook.
    """
    with database.reading() as connection:
        if _version(connection, database.name, len(steps)) == len(steps):
            return
    with database.writing() as connection:
        # Asked again under the write lock: another process may have migrated meanwhile.
        version = _version(connection, database.name, len(steps))
        schema.schema_version.create(connection, checkfirst=True)
        for number, step in enumerate(steps[version:], start=version + 1):
            step(connection)
            connection.execute(insert(schema.schema_version).values(version=number))


def _version(connection: Connection, name: str, newest: int) -> int:
    tables = inspect(connection).get_table_names()
    if not tables:
        return 0
    if schema.schema_version.name not in tables:
        raise LogbookError(f"{name} is a database, but not a logbook.", remedy="Name another file.")
    version = connection.execute(select(func.max(schema.schema_version.c.version))).scalar() or 0
    if version > newest:
        raise LogbookError(
            f"the logbook {name} has version {version}; this blindfield knows {newest}.",
            remedy="It was written by a newer blindfield: update this one.",
        )
    return version
