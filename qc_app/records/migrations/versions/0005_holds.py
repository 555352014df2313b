"""Nonconformities, holds, releases with what they froze, loads, lots of material, checks of instruments."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

Identity = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Time = sa.DateTime(timezone=True)

APPEND_ONLY = ("disposition", "instrument_check", "lot_use", "passage", "release", "release_withdrawal")


def upgrade() -> None:
    _create_load()
    _extend()
    _create_nonconformity()
    _create_hold()
    _create_release_parts()
    _create_material()
    _create_instrument_check()
    _create_plan_draft()
    for table in APPEND_ONLY:
        _refuse_changes(table)


def _reference(table: str, column: str, to: str) -> sa.Column[int]:
    key = sa.ForeignKey(f"{to}.id", name=f"fk_{table}_{column}_{to}")
    return sa.Column(column, Identity, key, nullable=True)


def _key(table: str, column: str, to: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [f"{to}.id"], name=f"fk_{table}_{column}_{to}")


def _create_load() -> None:
    op.create_table(
        "load",
        sa.Column("id", Identity, nullable=False),
        sa.Column("building_id", Identity, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("leaves_on", sa.Date(), nullable=True),
        sa.Column("released_at", Time, nullable=True),
        sa.Column("released_by_id", Identity, nullable=True),
        _key("load", "building_id", "building"),
        _key("load", "released_by_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_load"),
        sa.UniqueConstraint("building_id", "number", name="uq_load_building_id_number"),
    )


def _extend() -> None:
    # In place: rebuilding a table that others refer to would break their references.
    op.add_column("panel", _reference("panel", "load_id", "load"), inline_references=True)
    op.add_column("panel", _reference("panel", "predecessor_id", "panel"), inline_references=True)
    op.add_column("panel", sa.Column("scrapped_at", Time, nullable=True))
    op.create_index("ix_panel_load_id", "panel", ["load_id"])
    op.create_index("uq_panel_predecessor", "panel", ["predecessor_id"], unique=True)
    op.add_column("person", _reference("person", "building_id", "building"), inline_references=True)
    op.add_column("instrument", sa.Column("accuracy_class", sa.String(40), nullable=False, server_default=""))
    op.add_column("instrument", sa.Column("graduation", sa.BigInteger(), nullable=True))
    op.add_column("instrument", sa.Column("certificate", sa.String(120), nullable=False, server_default=""))
    op.add_column("instrument", sa.Column("due_on", sa.Date(), nullable=True))
    op.add_column("release", sa.Column("snapshot", sa.Text(), nullable=True))
    op.add_column("release", sa.Column("sha256", sa.String(64), nullable=True))


def _create_nonconformity() -> None:
    op.create_table(
        "nonconformity",
        sa.Column("id", Identity, nullable=False),
        sa.Column("building_id", Identity, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("characteristic", sa.String(40), nullable=False),
        sa.Column("place", sa.String(40), nullable=False),
        sa.Column("reading_id", Identity, nullable=True),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("places", sa.Text(), nullable=False),
        sa.Column("opened_at", Time, nullable=False),
        sa.Column("opened_by_id", Identity, nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("correction", sa.Text(), nullable=False),
        sa.Column("closed_at", Time, nullable=True),
        sa.Column("closed_how", sa.String(20), nullable=True),
        sa.Column("closed_by_id", Identity, nullable=True),
        sa.Column("closing_reading_id", Identity, nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        _key("nonconformity", "building_id", "building"),
        _key("nonconformity", "panel_id", "panel"),
        _key("nonconformity", "reading_id", "reading"),
        _key("nonconformity", "opened_by_id", "person"),
        _key("nonconformity", "closed_by_id", "person"),
        _key("nonconformity", "closing_reading_id", "reading"),
        sa.PrimaryKeyConstraint("id", name="pk_nonconformity"),
        sa.UniqueConstraint("building_id", "number", name="uq_nonconformity_building_id_number"),
    )
    op.create_index("ix_nonconformity_panel_id", "nonconformity", ["panel_id"])
    op.create_table(
        "disposition",
        sa.Column("id", Identity, nullable=False),
        sa.Column("nonconformity_id", Identity, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("agreed_by", sa.String(120), nullable=False),
        _key("disposition", "nonconformity_id", "nonconformity"),
        _key("disposition", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_disposition"),
    )
    op.create_index("ix_disposition_nonconformity_id", "disposition", ["nonconformity_id"])
    op.create_table(
        "nonconformity_link",
        sa.Column("one_id", Identity, nullable=False),
        sa.Column("other_id", Identity, nullable=False),
        _key("nonconformity_link", "one_id", "nonconformity"),
        _key("nonconformity_link", "other_id", "nonconformity"),
        sa.PrimaryKeyConstraint("one_id", "other_id", name="pk_nonconformity_link"),
    )
    op.create_table(
        "nonconformity_photo",
        sa.Column("nonconformity_id", Identity, nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        _key("nonconformity_photo", "nonconformity_id", "nonconformity"),
        sa.ForeignKeyConstraint(
            ["photo_sha256"], ["photo.sha256"], name="fk_nonconformity_photo_photo_sha256_photo"
        ),
        sa.PrimaryKeyConstraint("nonconformity_id", "photo_sha256", name="pk_nonconformity_photo"),
    )


def _create_hold() -> None:
    op.create_table(
        "hold",
        sa.Column("id", Identity, nullable=False),
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("why", sa.String(20), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("placed_at", Time, nullable=False),
        sa.Column("placed_by_id", Identity, nullable=True),
        sa.Column("lifted_at", Time, nullable=True),
        sa.Column("lifted_by_id", Identity, nullable=True),
        sa.Column("lift_reason", sa.Text(), nullable=False),
        _key("hold", "panel_id", "panel"),
        _key("hold", "placed_by_id", "person"),
        _key("hold", "lifted_by_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_hold"),
    )
    op.create_index("ix_hold_panel", "hold", ["panel_id", "lifted_at"])


def _create_release_parts() -> None:
    op.create_table(
        "release_withdrawal",
        sa.Column("id", Identity, nullable=False),
        sa.Column("release_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        _key("release_withdrawal", "release_id", "release"),
        _key("release_withdrawal", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_release_withdrawal"),
        sa.UniqueConstraint("release_id", name="uq_release_withdrawal_release_id"),
    )
    op.create_table(
        "passage",
        sa.Column("id", Identity, nullable=False),
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("what", sa.String(20), nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        _key("passage", "panel_id", "panel"),
        _key("passage", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_passage"),
    )
    op.create_index("ix_passage_panel", "passage", ["panel_id", "at"])
    op.create_table(
        "packet_copy",
        sa.Column("id", Identity, nullable=False),
        sa.Column("building_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("made_at", Time, nullable=False),
        sa.Column("sha256", sa.String(64), nullable=False),
        _key("packet_copy", "building_id", "building"),
        _key("packet_copy", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_packet_copy"),
    )
    op.create_index("ix_packet_copy_building", "packet_copy", ["building_id", "made_at"])


def _create_material() -> None:
    op.create_table(
        "material_lot",
        sa.Column("id", Identity, nullable=False),
        sa.Column("plant_id", Identity, nullable=False),
        sa.Column("mark", sa.String(40), nullable=False),
        sa.Column("material", sa.String(40), nullable=False),
        sa.Column("supplier", sa.String(120), nullable=False),
        sa.Column("moisture", sa.BigInteger(), nullable=True),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("received_at", Time, nullable=False),
        sa.Column("received_by_id", Identity, nullable=False),
        _key("material_lot", "plant_id", "plant"),
        _key("material_lot", "received_by_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_material_lot"),
        sa.UniqueConstraint("plant_id", "mark", name="uq_material_lot_plant_id_mark"),
    )
    op.create_table(
        "lot_use",
        sa.Column("id", Identity, nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("material_lot_id", Identity, nullable=True),
        sa.Column("lot_id", Identity, nullable=True),
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("station_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.CheckConstraint(
            "(material_lot_id IS NULL) <> (lot_id IS NULL)", name=op.f("ck_lot_use_material_or_members")
        ),
        _key("lot_use", "material_lot_id", "material_lot"),
        _key("lot_use", "lot_id", "lot"),
        _key("lot_use", "panel_id", "panel"),
        _key("lot_use", "station_id", "station"),
        _key("lot_use", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_lot_use"),
        sa.UniqueConstraint("uuid", name="uq_lot_use_uuid"),
    )
    op.create_index("ix_lot_use_panel", "lot_use", ["panel_id"])
    op.create_index("ix_lot_use_material", "lot_use", ["material_lot_id"])
    op.create_index("ix_lot_use_members", "lot_use", ["lot_id"])


def _create_instrument_check() -> None:
    op.create_table(
        "instrument_check",
        sa.Column("id", Identity, nullable=False),
        sa.Column("instrument_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.Column("occasion", sa.String(20), nullable=False),
        sa.Column("reference", sa.BigInteger(), nullable=True),
        sa.Column("read", sa.BigInteger(), nullable=True),
        sa.Column("permitted", sa.BigInteger(), nullable=True),
        sa.Column("passed", sa.Boolean(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        _key("instrument_check", "instrument_id", "instrument"),
        _key("instrument_check", "person_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_instrument_check"),
    )
    op.create_index("ix_instrument_check_when", "instrument_check", ["instrument_id", "at"])


def _create_plan_draft() -> None:
    op.create_table(
        "plan_draft",
        sa.Column("id", Identity, nullable=False),
        sa.Column("plant_id", Identity, nullable=False),
        sa.Column("based_on_id", Identity, nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("edited_by_id", Identity, nullable=False),
        sa.Column("edited_at", Time, nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
        _key("plan_draft", "plant_id", "plant"),
        _key("plan_draft", "based_on_id", "control_plan"),
        _key("plan_draft", "edited_by_id", "person"),
        sa.PrimaryKeyConstraint("id", name="pk_plan_draft"),
        sa.UniqueConstraint("plant_id", name="uq_plan_draft_plant_id"),
    )


def _refuse_changes(table: str) -> None:
    sentence = f"{table} is append-only"
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_refuses_{change.lower()} BEFORE {change} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_refuses_changes() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{sentence}'; END $$"
    )
    op.execute(
        f"CREATE TRIGGER {table}_refuses_changes BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_refuses_changes()"
    )


def downgrade() -> None:
    _accept_changes_of_release()
    for table in (
        "plan_draft",
        "instrument_check",
        "lot_use",
        "material_lot",
        "packet_copy",
        "passage",
        "release_withdrawal",
        "hold",
        "nonconformity_photo",
        "nonconformity_link",
        "disposition",
        "nonconformity",
    ):
        op.drop_table(table)
    for table, columns in (
        ("release", ("sha256", "snapshot")),
        ("instrument", ("due_on", "certificate", "graduation", "accuracy_class")),
        ("person", ("building_id",)),
    ):
        for column in columns:
            op.drop_column(table, column)
    op.drop_index("uq_panel_predecessor", "panel")
    op.drop_index("ix_panel_load_id", "panel")
    for column in ("scrapped_at", "predecessor_id", "load_id"):
        op.drop_column("panel", column)
    op.drop_table("load")


def _accept_changes_of_release() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for change in ("update", "delete"):
            op.execute(f"DROP TRIGGER release_refuses_{change}")
        return
    op.execute("DROP TRIGGER release_refuses_changes ON release")
    for table in APPEND_ONLY:
        op.execute(f"DROP FUNCTION {table}_refuses_changes() CASCADE")
