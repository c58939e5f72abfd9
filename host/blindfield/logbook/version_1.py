"""The tables of version 1, as they were; `migrations` leads on from them. Never changed."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

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
    CheckConstraint("outcome IN ('met', 'not_met', 'stopped', 'interrupted', 'void')"),
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

facts = Table(
    "facts",
    metadata,
    Column("scope", Text, primary_key=True),
    Column("subject", Text, primary_key=True),
    Column("name", Text, primary_key=True),
    Column("value", Text, nullable=False),
    Column("utc", Text, nullable=False),
)
