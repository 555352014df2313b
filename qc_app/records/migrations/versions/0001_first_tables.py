"""The first tables, and the refusal to change or delete readings and events."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


APPEND_ONLY = ("event", "reading", "reading_instrument")


def upgrade() -> None:
    op.create_table(
        "failed_sign_in",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("sign_in_name", sa.String(length=60), nullable=False),
        sa.Column("address", sa.String(length=60), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_failed_sign_in")),
    )
    with op.batch_alter_table("failed_sign_in", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_failed_sign_in_at"), ["at"], unique=False)

    op.create_table(
        "plant",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("system", sa.String(length=10), nullable=False),
        sa.Column("denominator", sa.Integer(), nullable=False),
        sa.Column("time_zone", sa.String(length=60), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plant")),
        sa.UniqueConstraint("name", name=op.f("uq_plant_name")),
    )
    op.create_table(
        "secret",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("value", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_secret")),
    )
    op.create_table(
        "building",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("code", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_building_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_building")),
        sa.UniqueConstraint("plant_id", "code", name=op.f("uq_building_plant_id_code")),
    )
    op.create_table(
        "control_plan",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("in_force_from", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_control_plan_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_control_plan")),
        sa.UniqueConstraint("plant_id", "version", name=op.f("uq_control_plan_plant_id_version")),
    )
    op.create_table(
        "instrument",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("bore", sa.BigInteger(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_instrument_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument")),
        sa.UniqueConstraint("plant_id", "name", name=op.f("uq_instrument_plant_id_name")),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("sign_in_name", sa.String(length=60), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("password_hash", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_person_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("sign_in_name", name=op.f("uq_person_sign_in_name")),
    )
    op.create_table(
        "station",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("cautions", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_station_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_station")),
        sa.UniqueConstraint("plant_id", "key", name=op.f("uq_station_plant_id_key")),
    )
    op.create_table(
        "characteristic",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("control_plan_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("station", sa.String(length=40), nullable=False),
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("quantity", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(
            ["control_plan_id"],
            ["control_plan.id"],
            name=op.f("fk_characteristic_control_plan_id_control_plan"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_characteristic")),
        sa.UniqueConstraint(
            "control_plan_id", "kind", "key", name=op.f("uq_characteristic_control_plan_id_kind_key")
        ),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("plant_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("control_plan_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("mark", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("length", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.BigInteger(), nullable=False),
        sa.Column("depth", sa.BigInteger(), nullable=False),
        sa.Column("waiting_at", sa.String(length=40), nullable=True),
        sa.CheckConstraint("length > 0 AND width > 0 AND depth > 0", name=op.f("ck_lot_sizes_positive")),
        sa.ForeignKeyConstraint(
            ["control_plan_id"], ["control_plan.id"], name=op.f("fk_lot_control_plan_id_control_plan")
        ),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_lot_plant_id_plant")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lot")),
        sa.UniqueConstraint("plant_id", "mark", name=op.f("uq_lot_plant_id_mark")),
    )
    with op.batch_alter_table("lot", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_lot_waiting_at"), ["waiting_at"], unique=False)

    op.create_table(
        "panel",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("building_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("control_plan_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("mark", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("length", sa.BigInteger(), nullable=False),
        sa.Column("width", sa.BigInteger(), nullable=False),
        sa.Column("depth", sa.BigInteger(), nullable=False),
        sa.Column("run", sa.String(length=40), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("raising_sequence", sa.Integer(), nullable=False),
        sa.Column("waiting_at", sa.String(length=40), nullable=True),
        sa.CheckConstraint("length > 0 AND width > 0 AND depth > 0", name=op.f("ck_panel_sizes_positive")),
        sa.ForeignKeyConstraint(["building_id"], ["building.id"], name=op.f("fk_panel_building_id_building")),
        sa.ForeignKeyConstraint(
            ["control_plan_id"], ["control_plan.id"], name=op.f("fk_panel_control_plan_id_control_plan")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_panel")),
        sa.UniqueConstraint("building_id", "mark", name=op.f("uq_panel_building_id_mark")),
    )
    with op.batch_alter_table("panel", schema=None) as batch_op:
        batch_op.create_index(
            "ix_panel_waiting", ["waiting_at", "building_id", "raising_sequence"], unique=False
        )

    op.create_table(
        "sign_in",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_in_token_hash")),
    )
    op.create_table(
        "stream",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("station_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("characteristic", sa.String(length=40), nullable=False),
        sa.Column("place", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("quantity", sa.String(length=20), nullable=False),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_stream_station_id_station")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stream")),
        sa.UniqueConstraint(
            "station_id", "characteristic", "place", name=op.f("uq_stream_station_id_characteristic_place")
        ),
    )
    op.create_table(
        "upload",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("what", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("uploaded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("taken_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_upload_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upload")),
    )
    op.create_table(
        "bay",
        sa.Column("panel_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("width", sa.BigInteger(), nullable=False),
        sa.Column("depth", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_bay_panel_id_panel")),
        sa.PrimaryKeyConstraint("panel_id", "number", name=op.f("pk_bay")),
    )
    op.create_table(
        "connector",
        sa.Column("panel_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_connector_panel_id_panel")),
        sa.PrimaryKeyConstraint("panel_id", "number", name=op.f("pk_connector")),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("chain", sa.String(length=40), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("panel_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("what", sa.String(length=60), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("previous_hash", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_event_panel_id_panel")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_event_person_id_person")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
    )
    with op.batch_alter_table("event", schema=None) as batch_op:
        batch_op.create_index("ix_event_panel", ["panel_id", "at"], unique=False)
        batch_op.create_index("uq_event_chain", ["chain", "number"], unique=True)

    op.create_table(
        "phase",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("stream_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("begins_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("base_ends_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("centre", sa.Float(precision=53), nullable=False),
        sa.Column("sigma", sa.Float(precision=53), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("frozen_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_phase_person_id_person")),
        sa.ForeignKeyConstraint(["stream_id"], ["stream.id"], name=op.f("fk_phase_stream_id_stream")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_phase")),
        sa.UniqueConstraint("stream_id", "begins_at", name=op.f("uq_phase_stream_id_begins_at")),
    )
    op.create_table(
        "reading",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("panel_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("lot_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.Column("characteristic_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("station_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("person_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("place", sa.String(length=40), nullable=False),
        sa.Column("entries", sa.JSON(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("target", sa.BigInteger(), nullable=True),
        sa.Column("lower", sa.BigInteger(), nullable=True),
        sa.Column("upper", sa.BigInteger(), nullable=True),
        sa.Column("verdict", sa.String(length=10), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("received_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("supersedes_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=True),
        sa.CheckConstraint("(panel_id IS NULL) <> (lot_id IS NULL)", name=op.f("ck_reading_panel_or_lot")),
        sa.ForeignKeyConstraint(
            ["characteristic_id"],
            ["characteristic.id"],
            name=op.f("fk_reading_characteristic_id_characteristic"),
        ),
        sa.ForeignKeyConstraint(["lot_id"], ["lot.id"], name=op.f("fk_reading_lot_id_lot")),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name=op.f("fk_reading_panel_id_panel")),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_reading_person_id_person")),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name=op.f("fk_reading_station_id_station")),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], ["reading.id"], name=op.f("fk_reading_supersedes_id_reading")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading")),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_reading_supersedes_id")),
        sa.UniqueConstraint("uuid", name=op.f("uq_reading_uuid")),
    )
    with op.batch_alter_table("reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_reading_characteristic_id"), ["characteristic_id"], unique=False)
        batch_op.create_index("ix_reading_lot", ["lot_id", "measured_at"], unique=False)
        batch_op.create_index("ix_reading_panel", ["panel_id", "measured_at"], unique=False)

    op.create_table(
        "point",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("stream_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("reading_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("measured_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("deviation", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name=op.f("fk_point_reading_id_reading")),
        sa.ForeignKeyConstraint(["stream_id"], ["stream.id"], name=op.f("fk_point_stream_id_stream")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_point")),
        sa.UniqueConstraint("reading_id", name=op.f("uq_point_reading_id")),
    )
    with op.batch_alter_table("point", schema=None) as batch_op:
        batch_op.create_index("ix_point_order", ["stream_id", "measured_at", "reading_id"], unique=False)

    op.create_table(
        "reading_instrument",
        sa.Column("reading_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("instrument_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instrument.id"], name=op.f("fk_reading_instrument_instrument_id_instrument")
        ),
        sa.ForeignKeyConstraint(
            ["reading_id"], ["reading.id"], name=op.f("fk_reading_instrument_reading_id_reading")
        ),
        sa.PrimaryKeyConstraint("reading_id", "instrument_id", name=op.f("pk_reading_instrument")),
    )
    with op.batch_alter_table("reading_instrument", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_reading_instrument_instrument_id"), ["instrument_id"], unique=False
        )

    op.create_table(
        "signal",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("point_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("phase_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("rule", sa.String(length=40), nullable=False),
        sa.Column("found_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["phase_id"], ["phase.id"], name=op.f("fk_signal_phase_id_phase")),
        sa.ForeignKeyConstraint(
            ["point_id"], ["point.id"], name=op.f("fk_signal_point_id_point"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_signal")),
        sa.UniqueConstraint("point_id", "rule", name=op.f("uq_signal_point_id_rule")),
    )
    for table in APPEND_ONLY:
        _refuse_changes(table)


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
    raise RuntimeError("the first tables are the beginning of the record and are not taken back")
