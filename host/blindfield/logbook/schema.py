"""The tables of the logbook as this program knows them (`migrations` makes them)."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from blindfield.model.run_summary import OUTCOMES

metadata = MetaData()

schema_version = Table(
    "schema_version",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
)

runs = Table(
    "runs",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("run_id", LargeBinary, nullable=False, unique=True),
    Column("field_name", Text, nullable=False),
    Column("drawn_utc", Text, nullable=False),
    Column("key_id", LargeBinary, nullable=False),
    Column("commitment", Text, nullable=False),
    Column("is_open", Boolean, nullable=False),
    # From here on: empty until the close.
    Column("salt", Text),
    Column("scenario_kind", Text),
    Column("standard", Text),
    Column("time_limit_s", Float),
    Column("started_utc", Text),
    Column("ended_utc", Text),
    Column("outcome", Text),
    Column("targets", Integer),
    Column("found", Integer),
    Column("find_run_s", Text),
    Column("flags", Text),
    Column("work", Text),
    Column("searcher", Text),
    Column("knows_places", Boolean),
    Column("start_point", Text),
    Column("sent", Text),
    CheckConstraint("outcome IN ({})".format(", ".join(f"'{one}'" for one in OUTCOMES))),
    CheckConstraint("is_open OR outcome IS NOT NULL"),
    sqlite_autoincrement=True,
)

# A row is either plain (kind and its like filled) or sealed (seal_hash and sealed filled).
events = Table(
    "events",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("run_id", LargeBinary, ForeignKey("runs.run_id"), index=True),
    Column("seal_hash", LargeBinary, unique=True),
    Column("sealed", LargeBinary),
    Column("source", Text),
    Column("device_id", LargeBinary),
    Column("journal_id", BigInteger),
    Column("seq", BigInteger),
    Column("clock_id", BigInteger),
    Column("device_lap", Integer),
    Column("device_ms", Integer),
    Column("device_us", Integer),
    Column("host_epoch", LargeBinary),
    Column("host_low_s", Float),
    Column("host_best_s", Float),
    Column("host_high_s", Float),
    Column("utc", Text),
    Column("kind", Text),
    Column("data", Text),
    Column("raw", LargeBinary),
    UniqueConstraint("device_id", "journal_id", "seq"),
    CheckConstraint("(sealed IS NULL) = (kind IS NOT NULL)"),
    sqlite_autoincrement=True,
)

events_by_kind = Index("events_by_kind", events.c.kind, events.c.device_id)
runs_by_searcher = Index("runs_by_searcher", runs.c.searcher, runs.c.number)

facts = Table(
    "facts",
    metadata,
    Column("scope", Text, primary_key=True),
    Column("subject", Text, primary_key=True),
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    Column("utc", Text, nullable=False),
)
