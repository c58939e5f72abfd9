"""Numbered steps from an empty file to the tables of today.

Step n brings version n-1 to version n. Steps are never changed once released: a table that changes
gets a further step, and the definitions the earlier steps relied on move here beside them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from sqlalchemy import Connection, func, insert, inspect, select

from blindfield.logbook import schema
from blindfield.logbook.database import Database
from blindfield.model.errors import LogbookError

Step = Callable[[Connection], None]


def _tables_of_version_1(connection: Connection) -> None:
    schema.metadata.create_all(connection, tables=[schema.runs, schema.events, schema.facts])


STEPS: tuple[Step, ...] = (_tables_of_version_1,)


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
