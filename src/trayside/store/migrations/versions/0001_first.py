"""The first tables: the loaded yard, cut sheets with frozen revisions, sample numbers, findings, the yard screen.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")
RELEASED = sa.text("state = 'released'")


def upgrade() -> None:
    _loaded_yard()
    _sheets()
    _numbers()
    _findings_and_states()
    if op.get_context().dialect.name == "sqlite":
        _freeze_on_sqlite()
    else:
        _freeze_on_postgresql()


def _loaded_yard() -> None:
    op.create_table(
        "holes",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("area", sa.Text()),
        sa.Column("east_m", sa.Double(), nullable=False),
        sa.Column("north_m", sa.Double(), nullable=False),
        sa.Column("elevation_m", sa.Double(), nullable=False),
        sa.Column("azimuth_deg", sa.Double(), nullable=False),
        sa.Column("dip_deg", sa.Double(), nullable=False),
        sa.Column("total_depth_mm", sa.Integer(), nullable=False),
        sa.Column("total_depth_entered", sa.Text(), nullable=False),
        sa.Column("remark", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "surveys",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("depth_mm", sa.Integer(), nullable=False),
        sa.Column("depth_entered", sa.Text(), nullable=False),
        sa.Column("azimuth_deg", sa.Double(), nullable=False),
        sa.Column("dip_deg", sa.Double(), nullable=False),
        sa.Column("instrument", sa.Text()),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "runs",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("from_mm", sa.Integer(), nullable=False),
        sa.Column("from_entered", sa.Text(), nullable=False),
        sa.Column("to_mm", sa.Integer(), nullable=False),
        sa.Column("to_entered", sa.Text(), nullable=False),
        sa.Column("recovered_mm", sa.Integer(), nullable=False),
        sa.Column("recovered_entered", sa.Text(), nullable=False),
        sa.Column("rqd_mm", sa.Integer()),
        sa.Column("rqd_entered", sa.Text()),
        sa.Column("solid_mm", sa.Integer()),
        sa.Column("solid_entered", sa.Text()),
        sa.Column("fractures", sa.Integer()),
        sa.Column("core_size", Code, nullable=False),
        sa.Column("remark", sa.Text()),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "losses",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("from_mm", sa.Integer(), nullable=False),
        sa.Column("from_entered", sa.Text(), nullable=False),
        sa.Column("lost_mm", sa.Integer(), nullable=False),
        sa.Column("lost_entered", sa.Text(), nullable=False),
        sa.Column("position", Code, nullable=False),
        sa.Column("remark", sa.Text()),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "trays",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("tray", sa.Integer(), nullable=False),
        sa.Column("from_mm", sa.Integer(), nullable=False),
        sa.Column("from_entered", sa.Text(), nullable=False),
        sa.Column("to_mm", sa.Integer(), nullable=False),
        sa.Column("to_entered", sa.Text(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("row_length_mm", sa.Integer(), nullable=False),
        sa.Column("row_length_entered", sa.Text(), nullable=False),
        sa.Column("row_ends_mm", sa.Text()),
        sa.Column("row_ends_entered", sa.Text()),
        sa.Column("remark", sa.Text()),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "rock",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("from_mm", sa.Integer(), nullable=False),
        sa.Column("from_entered", sa.Text(), nullable=False),
        sa.Column("to_mm", sa.Integer(), nullable=False),
        sa.Column("to_entered", sa.Text(), nullable=False),
        sa.Column("rock", Code, nullable=False),
        sa.Column("hardness", Code),
        sa.Column("condition", Code, nullable=False),
        sa.Column("grade_class", Code, nullable=False),
        sa.Column("contact", Code, nullable=False),
        sa.Column("vein", sa.Boolean()),
        sa.Column("sampling", Code),
        sa.Column("caution", sa.Text()),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "orientation_marks",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("depth_mm", sa.Integer(), nullable=False),
        sa.Column("depth_entered", sa.Text(), nullable=False),
        sa.Column("angle_deg", sa.Double(), nullable=False),
        sa.Column("line", Code, nullable=False),
        sa.Column("joint", Code),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "fabric",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("depth_mm", sa.Integer(), nullable=False),
        sa.Column("depth_entered", sa.Text(), nullable=False),
        sa.Column("alpha_deg", sa.Double(), nullable=False),
        sa.Column("beta_deg", sa.Double()),
        sa.Column("thickness_mm", sa.Double()),
        sa.Column("kind", Code, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "density",
        sa.Column("hole_id", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("from_mm", sa.Integer(), nullable=False),
        sa.Column("from_entered", sa.Text(), nullable=False),
        sa.Column("to_mm", sa.Integer(), nullable=False),
        sa.Column("to_entered", sa.Text(), nullable=False),
        sa.Column("mass_dry_g", sa.Double()),
        sa.Column("mass_in_water_g", sa.Double()),
        sa.Column("density_t_m3", sa.Double()),
        sa.Column("method", Code, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "core_sizes",
        sa.Column("core_size", Code, primary_key=True),
        sa.Column("core_diameter_mm", sa.Double(), nullable=False),
        sa.Column("hole_diameter_mm", sa.Double()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "rock_codes",
        sa.Column("rock", Code, primary_key=True),
        sa.Column("name", sa.Text()),
        sa.Column("density_t_m3", sa.Double(), nullable=False),
        sa.Column("density_sd_t_m3", sa.Double(), nullable=False),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "materials",
        sa.Column("material", Code, primary_key=True),
        sa.Column("kind", Code, nullable=False),
        sa.Column("in_stock", sa.Integer(), nullable=False),
        sa.Column("mass_g", sa.Double(), nullable=False),
        sa.Column("grade_g_t", sa.Double()),
        sa.Column("lot", Code),
        sa.Column("remark", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "tickets",
        sa.Column("book", Code, primary_key=True),
        sa.Column("prefix", Code),
        sa.Column("first", sa.Integer(), nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.Column("digits", sa.Integer(), nullable=False),
        sa.Column("hole_id", Code),
        sa.Column("voids", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )


def _sheets() -> None:
    op.create_table(
        "sheets",
        sa.Column("sheet_id", Code, primary_key=True),
        sa.Column("hole_id", Code, sa.ForeignKey("holes.hole_id"), nullable=False, unique=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("hole_digest", sa.Text(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        sa.Column("issued_version", sa.Integer()),
        sa.Column("edited_by", sa.Text(), nullable=False),
        sa.Column("by_hand", sa.Text(), nullable=False),
    )
    op.create_table(
        "sheet_rows",
        sa.Column("sheet_id", Code, sa.ForeignKey("sheets.sheet_id"), primary_key=True),
        sa.Column("revision", sa.Integer(), primary_key=True),
        sa.Column("seq", sa.Integer(), primary_key=True),
        sa.Column("kind", Code, nullable=False),
        sa.Column("number", Code, nullable=False),
        sa.Column("from_mm", sa.Integer()),
        sa.Column("to_mm", sa.Integer()),
        sa.Column("from_tray", sa.Integer()),
        sa.Column("from_row", sa.Integer()),
        sa.Column("from_left_cm", sa.Double()),
        sa.Column("to_tray", sa.Integer()),
        sa.Column("to_row", sa.Integer()),
        sa.Column("to_left_cm", sa.Double()),
        sa.Column("core_size", Code),
        sa.Column("rock", Code),
        sa.Column("condition", Code),
        sa.Column("grade_class", Code),
        sa.Column("recovered_mm", sa.Integer()),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("method_reason", sa.Text(), nullable=False),
        sa.Column("portion", sa.Text(), nullable=False),
        sa.Column("side", sa.Text(), nullable=False),
        sa.Column("expected_kg", sa.Double()),
        sa.Column("low_kg", sa.Double()),
        sa.Column("high_kg", sa.Double()),
        sa.Column("material", Code),
        sa.Column("duplicate_of", Code),
        sa.Column("duplicate_type", Code),
        sa.Column("top_reason", sa.Text(), nullable=False),
        sa.Column("bottom_reason", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("caution", sa.Text(), nullable=False),
        sa.Column("rack", sa.Integer(), nullable=False),
        sa.CheckConstraint("kind IN ('sample', 'duplicate', 'standard', 'blank')", name="kind_known"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sheet_revisions",
        sa.Column("sheet_id", Code, sa.ForeignKey("sheets.sheet_id"), primary_key=True),
        sa.Column("revision", sa.Integer(), primary_key=True),
        sa.Column("hole_id", Code, nullable=False),
        sa.Column("issued_at", Moment, nullable=False),
        sa.Column("issued_by", sa.Text(), nullable=False),
        sa.Column("statement", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("changes", sa.Text(), nullable=False),
        sa.CheckConstraint("revision > 0", name="revision_positive"),
    )


def _numbers() -> None:
    op.create_table(
        "sample_numbers",
        sa.Column("number", Code, primary_key=True),
        sa.Column("prefix", Code, nullable=False),
        sa.Column("serial", sa.BigInteger(), nullable=False),
        sa.Column("state", Code, nullable=False),
        sa.Column("hole_id", Code),
        sa.Column("sheet_id", Code, sa.ForeignKey("sheets.sheet_id")),
        sa.CheckConstraint("(state = 'released') = (sheet_id IS NULL)", name="released_without_sheet"),
        sa.CheckConstraint("state IN ('planned', 'issued', 'released', 'void')", name="state_known"),
        sqlite_with_rowid=False,
    )
    op.create_index("sample_numbers_by_serial", "sample_numbers", ["prefix", "serial"])
    op.create_index("sample_numbers_by_sheet", "sample_numbers", ["sheet_id"])
    op.create_index(
        "sample_numbers_released",
        "sample_numbers",
        ["prefix", "serial"],
        sqlite_where=RELEASED,
        postgresql_where=RELEASED,
    )
    op.create_table(
        "material_totals",
        sa.Column("material", Code, primary_key=True),
        sa.Column("on_drafts", sa.Integer(), nullable=False),
    )


def _findings_and_states() -> None:
    op.create_table(
        "findings",
        sa.Column("filed_under", Code, primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("code", Code, nullable=False),
        sa.Column("severity", Code, nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("remedy", sa.Text(), nullable=False),
        sa.Column("hole_id", Code),
        sa.Column("from_mm", sa.Integer()),
        sa.Column("to_mm", sa.Integer()),
        sa.Column("run", sa.Integer()),
        sa.Column("tray", sa.Integer()),
        sa.Column("number", Code),
        sa.Column("evidence", sa.Text(), nullable=False),
        sa.CheckConstraint("severity IN ('stop', 'warn', 'note')", name="severity_known"),
        sqlite_with_rowid=False,
    )
    op.create_index("findings_by_hole", "findings", ["hole_id"])
    op.create_table(
        "hole_states",
        sa.Column("hole_id", Code, sa.ForeignKey("holes.hole_id"), primary_key=True),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("station", Code, nullable=False),
        sa.Column("total_depth_mm", sa.Integer(), nullable=False),
        sa.Column("trays", sa.Integer(), nullable=False),
        sa.Column("runs", sa.Integer(), nullable=False),
        sa.Column("stops", sa.Integer(), nullable=False),
        sa.Column("warns", sa.Integer(), nullable=False),
        sa.Column("notes", sa.Integer(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("controls", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
    )
    op.create_index("hole_states_by_station", "hole_states", ["station", "hole_id"])
    op.create_table(
        "station_totals",
        sa.Column("station", Code, primary_key=True),
        sa.Column("holes", sa.Integer(), nullable=False),
        sa.Column("depth_mm", sa.BigInteger(), nullable=False),
    )
    op.create_table(
        "shared_digests",
        sa.Column("table_name", Code, primary_key=True),
        sa.Column("digest", sa.Text(), nullable=False),
    )
    op.create_table(
        "yard_settings",
        sa.Column("name", Code, primary_key=True),
        sa.Column("value", sa.Text(), nullable=False),
    )


FROZEN = "an issued revision is frozen: issue the next revision instead"
FREEZE_ON_SQLITE = (
    ("sheet_revisions_keep_update", "UPDATE ON sheet_revisions", "1"),
    ("sheet_revisions_keep_delete", "DELETE ON sheet_revisions", "1"),
    (
        "sheet_revisions_keep_insert",
        "INSERT ON sheet_revisions",
        "EXISTS (SELECT 1 FROM sheet_revisions WHERE sheet_id = NEW.sheet_id AND revision = NEW.revision)",
    ),
    ("sheet_rows_keep_update", "UPDATE ON sheet_rows", "OLD.revision > 0 OR NEW.revision > 0"),
    ("sheet_rows_keep_delete", "DELETE ON sheet_rows", "OLD.revision > 0"),
    (
        "sheet_rows_keep_insert",
        "INSERT ON sheet_rows",
        "NEW.revision > 0 AND EXISTS "
        "(SELECT 1 FROM sheet_revisions WHERE sheet_id = NEW.sheet_id AND revision = NEW.revision)",
    ),
)


def _freeze_on_sqlite() -> None:
    """The rows of a revision go in first, its head last; from then on neither can be changed, dropped or added to."""
    for name, act, when in FREEZE_ON_SQLITE:
        op.execute(f"CREATE TRIGGER {name} BEFORE {act} WHEN {when} BEGIN SELECT RAISE(ABORT, '{FROZEN}'); END")


def _freeze_on_postgresql() -> None:
    """As on SQLite; the key of sheet_revisions already refuses a second head."""
    op.execute(
        f"""CREATE FUNCTION refuse_frozen() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION '{FROZEN}' USING ERRCODE = 'restrict_violation'; END $$"""
    )
    op.execute(
        f"""CREATE FUNCTION refuse_added_rows() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF EXISTS (SELECT 1 FROM sheet_revisions WHERE sheet_id = NEW.sheet_id AND revision = NEW.revision) THEN
                RAISE EXCEPTION '{FROZEN}' USING ERRCODE = 'restrict_violation';
            END IF;
            RETURN NEW;
        END $$"""
    )
    for name, act, when, function in (
        ("sheet_revisions_keep", "UPDATE OR DELETE ON sheet_revisions FOR EACH ROW", "true", "refuse_frozen"),
        ("sheet_revisions_keep_all", "TRUNCATE ON sheet_revisions FOR EACH STATEMENT", "true", "refuse_frozen"),
        (
            "sheet_rows_keep_update",
            "UPDATE ON sheet_rows FOR EACH ROW",
            "OLD.revision > 0 OR NEW.revision > 0",
            "refuse_frozen",
        ),
        ("sheet_rows_keep_delete", "DELETE ON sheet_rows FOR EACH ROW", "OLD.revision > 0", "refuse_frozen"),
        ("sheet_rows_keep_insert", "INSERT ON sheet_rows FOR EACH ROW", "NEW.revision > 0", "refuse_added_rows"),
        ("sheet_rows_keep_all", "TRUNCATE ON sheet_rows FOR EACH STATEMENT", "true", "refuse_frozen"),
    ):
        op.execute(f"CREATE TRIGGER {name} BEFORE {act} WHEN ({when}) EXECUTE FUNCTION {function}()")


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
