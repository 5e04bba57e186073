"""Every table of the store, for SQLite and PostgreSQL alike.

The loaded tables follow `model.tables`; the rest is written out. Rows that belong together are kept together: the
primary key starts with the hole or the sheet, so one hole is one stretch of the table and needs no other index.
"""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    DateTime,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    TypeDecorator,
    text,
)

from trayside.model import tables as loaded

metadata = MetaData()

# Names sort by their bytes on both databases; a locale would order holes differently on each machine.
Code = String().with_variant(String(collation="C"), "postgresql")


class UtcTime(TypeDecorator):
    """A moment in UTC: timestamptz on PostgreSQL, ISO 8601 text on SQLite. A time without a zone is refused."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def load_dialect_impl(self, dialect):
        return dialect.type_descriptor(String(32) if dialect.name == "sqlite" else DateTime(timezone=True))

    def process_bind_param(self, value, dialect):
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without a zone: {value!r}")
        value = value.astimezone(UTC)
        return value.isoformat(timespec="microseconds") if dialect.name == "sqlite" else value

    def process_result_value(self, value, dialect):
        if value is None:
            return None
        return (datetime.fromisoformat(value) if dialect.name == "sqlite" else value).astimezone(UTC)


STORED_TYPES = {
    "code": Code,
    "choice": Code,
    "text": Text(),
    "integer": Integer(),
    "number": Double(),
    "yes_no": Boolean(),
}
SHARED = tuple(table.name for table in loaded.TABLES if not table.of_hole)
"""Tables of the whole yard, replaced one by one. All others belong to a hole and are replaced with it."""
OF_HOLE = tuple(table.name for table in loaded.TABLES if table.name not in (*SHARED, loaded.HOLES.name))


def _loaded_columns(table: loaded.Table, *, key: tuple[str, ...]) -> list[Column]:
    columns = []
    for column in table.columns:
        if column.kind in ("length", "lengths"):
            types = [Integer() if column.kind == "length" else Text(), Text()]
        else:
            types = [STORED_TYPES[column.kind]]
        for name, kind in zip(column.stored, types, strict=True):
            columns.append(Column(name, kind, primary_key=name in key, nullable=not column.required))
    return columns


def _loaded_table(table: loaded.Table) -> Table:
    """`row_order` is the row's place in the file it was read from."""
    if table.name == loaded.HOLES.name or table.name in SHARED:
        row_order = Column("row_order", Integer, nullable=False)
        return Table(table.name, metadata, *_loaded_columns(table, key=table.key), row_order)
    row_order = Column("row_order", Integer, primary_key=True)
    columns = _loaded_columns(table, key=("hole_id",))
    # No foreign key to holes: only replace_holes writes here and checks all holes at once; no hole is ever removed.
    return Table(table.name, metadata, columns[0], row_order, *columns[1:], sqlite_with_rowid=False)


LOADED: dict[str, Table] = {table.name: _loaded_table(table) for table in loaded.TABLES}
HOLES = LOADED[loaded.HOLES.name]


def _one_of(column: str, words: tuple[str, ...]) -> CheckConstraint:
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


SHEETS = Table(
    "sheets",
    metadata,
    Column("sheet_id", Code, primary_key=True),
    Column("hole_id", Code, ForeignKey("holes.hole_id"), nullable=False, unique=True),
    Column("version", Integer, nullable=False),
    Column("seed", BigInteger, nullable=False),
    Column("hole_digest", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("issued_version", Integer),
    Column("edited_by", Text, nullable=False),
    Column("by_hand", Text, nullable=False),
)
SHEET_ROWS = Table(
    "sheet_rows",
    metadata,
    Column("sheet_id", Code, ForeignKey("sheets.sheet_id"), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("seq", Integer, primary_key=True),
    Column("kind", Code, nullable=False),
    Column("number", Code, nullable=False),
    Column("from_mm", Integer),
    Column("to_mm", Integer),
    Column("from_tray", Integer),
    Column("from_row", Integer),
    Column("from_left_cm", Double),
    Column("to_tray", Integer),
    Column("to_row", Integer),
    Column("to_left_cm", Double),
    Column("core_size", Code),
    Column("rock", Code),
    Column("condition", Code),
    Column("grade_class", Code),
    Column("recovered_mm", Integer),
    Column("method", Text, nullable=False),
    Column("method_reason", Text, nullable=False),
    Column("portion", Text, nullable=False),
    Column("side", Text, nullable=False),
    Column("expected_kg", Double),
    Column("low_kg", Double),
    Column("high_kg", Double),
    Column("material", Code),
    Column("duplicate_of", Code),
    Column("duplicate_type", Code),
    Column("top_reason", Text, nullable=False),
    Column("bottom_reason", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("caution", Text, nullable=False),
    Column("rack", Integer, nullable=False),
    _one_of("kind", ("sample", "duplicate", "standard", "blank")),
    sqlite_with_rowid=False,
)
SHEET_REVISIONS = Table(
    "sheet_revisions",
    metadata,
    Column("sheet_id", Code, ForeignKey("sheets.sheet_id"), primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("hole_id", Code, nullable=False),
    Column("issued_at", UtcTime, nullable=False),
    Column("issued_by", Text, nullable=False),
    Column("statement", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("changes", Text, nullable=False),
    CheckConstraint("revision > 0", name="revision_positive"),
)
SAMPLE_NUMBERS = Table(
    "sample_numbers",
    metadata,
    Column("number", Code, primary_key=True),
    Column("prefix", Code, nullable=False),
    Column("serial", BigInteger, nullable=False),
    Column("state", Code, nullable=False),
    Column("hole_id", Code),
    Column("sheet_id", Code, ForeignKey("sheets.sheet_id")),
    _one_of("state", ("planned", "issued", "released", "void")),
    CheckConstraint("(state = 'released') = (sheet_id IS NULL)", name="released_without_sheet"),
    Index("sample_numbers_by_serial", "prefix", "serial", unique=True),
    Index("sample_numbers_by_sheet", "sheet_id"),
    Index(
        "sample_numbers_released",
        "prefix",
        "serial",
        sqlite_where=text("state = 'released'"),
        postgresql_where=text("state = 'released'"),
    ),
    sqlite_with_rowid=False,
)
MATERIAL_TOTALS = Table(
    "material_totals",
    metadata,
    Column("material", Code, primary_key=True),
    Column("on_drafts", Integer, nullable=False),
    Column("counted_after", UtcTime),
)
FINDINGS = Table(
    "findings",
    metadata,
    Column("filed_under", Code, primary_key=True),
    Column("row_order", Integer, primary_key=True),
    Column("code", Code, nullable=False),
    Column("severity", Code, nullable=False),
    Column("message", Text, nullable=False),
    Column("remedy", Text, nullable=False),
    Column("hole_id", Code),
    Column("from_mm", Integer),
    Column("to_mm", Integer),
    Column("run", Integer),
    Column("tray", Integer),
    Column("number", Code),
    Column("evidence", Text, nullable=False),
    _one_of("severity", ("stop", "warn", "note")),
    Index("findings_by_hole", "hole_id"),
    sqlite_with_rowid=False,
)
HOLE_STATES = Table(
    "hole_states",
    metadata,
    Column("hole_id", Code, ForeignKey("holes.hole_id"), primary_key=True),
    Column("digest", Text, nullable=False),
    Column("station", Code, nullable=False),
    Column("total_depth_mm", Integer, nullable=False),
    Column("core_mm", Integer, nullable=False),
    Column("trays", Integer, nullable=False),
    Column("runs", Integer, nullable=False),
    Column("stops", Integer, nullable=False),
    Column("warns", Integer, nullable=False),
    Column("notes", Integer, nullable=False),
    Column("samples", Integer, nullable=False),
    Column("controls", Integer, nullable=False),
    Column("revision", Integer, nullable=False),
    Index("hole_states_by_station", "station", "hole_id"),
)
STATION_TOTALS = Table(
    "station_totals",
    metadata,
    Column("station", Code, primary_key=True),
    Column("holes", Integer, nullable=False),
    Column("core_mm", BigInteger, nullable=False),
)
SHARED_DIGESTS = Table(
    "shared_digests",
    metadata,
    Column("table_name", Code, primary_key=True),
    Column("digest", Text, nullable=False),
)
YARD_SETTINGS = Table(
    "yard_settings",
    metadata,
    Column("name", Code, primary_key=True),
    Column("value", Text, nullable=False),
)


def _chain(name: str, *indexes: Index) -> Table:
    """A table that only grows, each row tied to the one before. `record` is the text that was hashed and the one truth;
    the columns before it repeat what is looked up by, and `ledger verify` holds them against it."""
    return Table(
        name,
        metadata,
        Column("seq", BigInteger().with_variant(Integer(), "sqlite"), primary_key=True, autoincrement=False),
        Column("event_id", Code, nullable=False),
        Column("kind", Code, nullable=False),
        Column("object_type", Code, nullable=False),
        Column("object_id", Code, nullable=False),
        Column("hole_id", Code),
        Column("tray", Integer),
        Column("standing", Code, nullable=False),
        Column("record", Code, nullable=False),
        Column("prev_hash", Code, nullable=False),
        Column("hash", Code, nullable=False),
        CheckConstraint("seq > 0", name=f"{name}_seq_positive"),
        CheckConstraint("length(hash) = 64", name=f"{name}_hash_length"),
        *indexes,
    )


EVENTS = _chain(
    "events",
    Index("events_by_id", "event_id", unique=True),
    Index("events_by_object", "object_type", "object_id"),
    Index("events_by_place", "hole_id", "tray"),
    Index(
        "events_in_conflict",
        "seq",
        sqlite_where=text("standing = 'conflict'"),
        postgresql_where=text("standing = 'conflict'"),
    ),
)
EVENT_CONFLICTS = _chain("event_conflicts", Index("event_conflicts_by_id", "event_id"))

PEOPLE = Table(
    "people",
    metadata,
    Column("person_id", Code, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Code, nullable=False, unique=True),
    Column("role", Code, nullable=False),
    Column("active", Boolean, nullable=False),
    Column("pin_hash", Text, nullable=False),
    Column("added_at", UtcTime, nullable=False),
    _one_of("role", ("operator", "geologist", "QC", "lead", "viewer")),
)
TABLETS = Table(
    "tablets",
    metadata,
    Column("tablet_id", Code, primary_key=True),
    Column("name", Text, nullable=False),
    Column("name_key", Code, nullable=False),
    Column("token_digest", Code, nullable=False, unique=True),
    Column("paired_at", UtcTime, nullable=False),
    Column("paired_by", Text, nullable=False),
    Column("revoked_at", UtcTime),
)
PERSON_SESSIONS = Table(
    "person_sessions",
    metadata,
    Column("token_digest", Code, primary_key=True),
    Column("person_id", Code, ForeignKey("people.person_id"), nullable=False),
    Column("tablet_id", Code, ForeignKey("tablets.tablet_id")),
    Column("created_at", UtcTime, nullable=False),
    Column("seen_at", UtcTime, nullable=False),
    Column("ends_at", UtcTime, nullable=False),
    Index("person_sessions_by_person", "person_id"),
    Index("person_sessions_by_tablet", "tablet_id"),
)
PAIRING_CODES = Table(
    "pairing_codes",
    metadata,
    Column("code_id", Code, primary_key=True),
    Column("code_hash", Text, nullable=False),
    Column("made_at", UtcTime, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("ends_at", UtcTime, nullable=False),
    Column("used_at", UtcTime),
    Column("tablet_id", Code, ForeignKey("tablets.tablet_id")),
)
WRONG_TRIES = Table(
    "wrong_tries",
    metadata,
    Column("subject", Code, primary_key=True),
    Column("failures", Integer, nullable=False),
    Column("last_at", UtcTime, nullable=False),
    CheckConstraint("failures >= 0", name="failures_counted"),
)

LOADS = Table(
    "loads",
    metadata,
    Column("load_id", Code, primary_key=True),
    Column("serial", Integer, nullable=False, unique=True),
    Column("version", Integer, nullable=False),
    Column("request", Text, nullable=False),
    Column("made_at", UtcTime, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("sent_at", UtcTime),
    Column("sent_by", Text, nullable=False),
    Column("statement", Text, nullable=False),
    Column("ledger_seq", BigInteger, nullable=False),
    Column("ledger_hash", Text, nullable=False),
    Column("digest", Text, nullable=False),
    Column("findings", Text, nullable=False),
    CheckConstraint("(sent_at IS NULL) = (digest = '')", name="sent_with_digest"),
)
SACKS = Table(
    "sacks",
    metadata,
    Column("sack_id", Code, primary_key=True),
    Column("serial", Integer, nullable=False, unique=True),
    Column("load_id", Code, ForeignKey("loads.load_id")),
    Column("packed_at", UtcTime, nullable=False),
    Column("packed_by", Text, nullable=False),
    Column("says", Text, nullable=False),
    Column("undone_at", UtcTime),
    Column("undone_by", Text, nullable=False),
    Index("sacks_by_load", "load_id"),
)
SACK_BAGS = Table(
    "sack_bags",
    metadata,
    Column("number", Code, primary_key=True),
    Column("sack_id", Code, ForeignKey("sacks.sack_id"), nullable=False),
    Column("place", Integer, nullable=False),
    Index("sack_bags_by_sack", "sack_id", "place", unique=True),
)
RECEIPTS = Table(
    "receipts",
    metadata,
    Column("receipt_id", Code, primary_key=True),
    Column("load_id", Code, ForeignKey("loads.load_id"), nullable=False),
    Column("received_at", UtcTime, nullable=False),
    Column("utc_offset_min", Integer, nullable=False),
    Column("received_by", Text, nullable=False),
    Column("lab_job", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("sha256", Text, nullable=False),
    Column("lines", Text, nullable=False),
    Column("stored_at", UtcTime, nullable=False),
    Column("stored_by", Text, nullable=False),
    Column("seals_intact", Boolean),
    Column("confirmed_at", UtcTime),
    Column("confirmed_by", Text, nullable=False),
    Column("taken_as", Text, nullable=False),
    Index("receipts_by_load", "load_id", "stored_at"),
)
