"""What the program learns about fields and devices: named values, the newest kept."""

from __future__ import annotations

import json
from typing import Any, Literal

from sqlalchemy import Connection, exists, insert, select, update

from blindfield.logbook.database import Database
from blindfield.logbook.schema import facts, runs
from blindfield.model.errors import LogbookError

Scope = Literal["field", "device"]


class Facts:
    """`subject` is the name of a field or the id of a device (hex); values are JSON."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def put(self, scope: Scope, subject: str, name: str, value: Any, *, utc: str) -> None:
        """Raises LogbookError, also while a run is open: a change would tell who is in play."""
        text = json.dumps(value, allow_nan=False)
        with self._database.writing() as connection:
            _refuse_while_open(connection)
            here = _of(scope, subject, facts.c.name == name)
            changed = connection.execute(update(facts).where(*here).values(value=text, utc=utc))
            if not changed.rowcount:
                connection.execute(
                    insert(facts).values(
                        scope=scope, subject=subject, name=name, value=text, utc=utc
                    )
                )

    def of(self, scope: Scope, subject: str) -> dict[str, Any]:
        """All that is known of one field or device: name -> value."""
        query = select(facts.c.name, facts.c.value).where(*_of(scope, subject))
        with self._database.reading() as connection:
            return {name: json.loads(value) for name, value in connection.execute(query)}


def _of(scope: Scope, subject: str, *further: Any) -> tuple[Any, ...]:
    return (facts.c.scope == scope, facts.c.subject == subject, *further)


def _refuse_while_open(connection: Connection) -> None:
    if connection.execute(select(exists().where(runs.c.is_open))).scalar():
        raise LogbookError(
            "what was learnt cannot be kept while a run is open.", remedy="Keep it at the close."
        )
