"""Tablets and their outboxes, PINs, photos, penetrations, releases and notices."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

Identity = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
Time = sa.DateTime(timezone=True)


def upgrade() -> None:
    _create_tablet()
    _create_outbox()
    _create_photo()
    _create_penetration()
    _create_release()
    _create_notice()
    # In place: rebuilding the table of readings would lose the triggers that guard it.
    op.add_column("person", sa.Column("pin_hash", sa.String(200), nullable=True))
    op.add_column("person", sa.Column("language", sa.String(10), nullable=True))
    op.add_column("reading", sa.Column("reason", sa.Text(), nullable=False, server_default=""))
    op.add_column(
        "reading",
        sa.Column(
            "tablet_id",
            Identity,
            sa.ForeignKey("tablet.id", name="fk_reading_tablet_id_tablet"),
            nullable=True,
        ),
        inline_references=True,
    )
    for table in ("outbox_entry", "reading_photo"):
        _refuse_changes(table)


def _create_tablet() -> None:
    op.create_table(
        "tablet",
        sa.Column("id", Identity, nullable=False),
        sa.Column("plant_id", Identity, nullable=False),
        sa.Column("station_id", Identity, nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("key_size", sa.Integer(), nullable=False),
        sa.Column("code_hash", sa.String(64), nullable=True),
        sa.Column("code_expires_at", Time, nullable=True),
        sa.Column("credential_hash", sa.String(64), nullable=True),
        sa.Column("enrolled_at", Time, nullable=True),
        sa.Column("revoked_at", Time, nullable=True),
        sa.Column("seen_at", Time, nullable=True),
        sa.Column("outbox", sa.Uuid(), nullable=True),
        sa.Column("written", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name="fk_tablet_plant_id_plant"),
        sa.ForeignKeyConstraint(["station_id"], ["station.id"], name="fk_tablet_station_id_station"),
        sa.PrimaryKeyConstraint("id", name="pk_tablet"),
        sa.UniqueConstraint("code_hash", name="uq_tablet_code_hash"),
        sa.UniqueConstraint("credential_hash", name="uq_tablet_credential_hash"),
    )
    op.create_table(
        "tablet_sign_in",
        sa.Column("id", Identity, nullable=False),
        sa.Column("tablet_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("at", Time, nullable=False),
        sa.ForeignKeyConstraint(["tablet_id"], ["tablet.id"], name="fk_tablet_sign_in_tablet_id_tablet"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_tablet_sign_in_person_id_person"),
        sa.PrimaryKeyConstraint("id", name="pk_tablet_sign_in"),
    )
    op.create_index("ix_tablet_sign_in_who", "tablet_sign_in", ["tablet_id", "person_id", "at"])


def _create_outbox() -> None:
    op.create_table(
        "outbox_entry",
        sa.Column("uuid", sa.Uuid(), nullable=False),
        sa.Column("outbox", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("tablet_id", Identity, nullable=True),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("form", sa.String(40), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("entered_at", Time, nullable=False),
        sa.Column("received_at", Time, nullable=False),
        sa.Column("kept", sa.Boolean(), nullable=False),
        sa.Column("answer", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["tablet_id"], ["tablet.id"], name="fk_outbox_entry_tablet_id_tablet"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_outbox_entry_person_id_person"),
        sa.PrimaryKeyConstraint("uuid", name="pk_outbox_entry"),
        sa.UniqueConstraint("outbox", "sequence", name="uq_outbox_entry_outbox_sequence"),
    )
    op.create_index("ix_outbox_entry_tablet", "outbox_entry", ["tablet_id", "received_at"])


def _create_photo() -> None:
    op.create_table(
        "photo",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("plant_id", Identity, nullable=False),
        sa.Column("media_type", sa.String(40), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("received_at", Time, nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name="fk_photo_plant_id_plant"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_photo_person_id_person"),
        sa.PrimaryKeyConstraint("sha256", name="pk_photo"),
    )
    op.create_table(
        "reading_photo",
        sa.Column("reading_id", Identity, nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.ForeignKeyConstraint(["reading_id"], ["reading.id"], name="fk_reading_photo_reading_id_reading"),
        sa.ForeignKeyConstraint(
            ["photo_sha256"], ["photo.sha256"], name="fk_reading_photo_photo_sha256_photo"
        ),
        sa.PrimaryKeyConstraint("reading_id", "photo_sha256", name="pk_reading_photo"),
    )
    op.create_index("ix_reading_photo_photo_sha256", "reading_photo", ["photo_sha256"])


def _create_penetration() -> None:
    op.create_table(
        "penetration",
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mark", sa.String(20), nullable=False),
        sa.Column("face", sa.String(20), nullable=False),
        sa.Column("size", sa.String(40), nullable=False),
        sa.Column("sleeve", sa.String(60), nullable=False),
        sa.Column("along", sa.BigInteger(), nullable=True),
        sa.Column("across", sa.BigInteger(), nullable=True),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name="fk_penetration_panel_id_panel"),
        sa.PrimaryKeyConstraint("panel_id", "number", name="pk_penetration"),
    )


def _create_release() -> None:
    op.create_table(
        "release",
        sa.Column("id", Identity, nullable=False),
        sa.Column("panel_id", Identity, nullable=False),
        sa.Column("person_id", Identity, nullable=False),
        sa.Column("released_at", Time, nullable=False),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name="fk_release_panel_id_panel"),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name="fk_release_person_id_person"),
        sa.PrimaryKeyConstraint("id", name="pk_release"),
    )
    op.create_index("ix_release_panel_id", "release", ["panel_id"])


def _create_notice() -> None:
    op.create_table(
        "notice",
        sa.Column("id", Identity, nullable=False),
        sa.Column("plant_id", Identity, nullable=False),
        sa.Column("about", sa.String(40), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("panel_id", Identity, nullable=True),
        sa.Column("tablet_id", Identity, nullable=True),
        sa.Column("raised_at", Time, nullable=False),
        sa.Column("closed_at", Time, nullable=True),
        sa.Column("closed_by_id", Identity, nullable=True),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name="fk_notice_plant_id_plant"),
        sa.ForeignKeyConstraint(["panel_id"], ["panel.id"], name="fk_notice_panel_id_panel"),
        sa.ForeignKeyConstraint(["tablet_id"], ["tablet.id"], name="fk_notice_tablet_id_tablet"),
        sa.ForeignKeyConstraint(["closed_by_id"], ["person.id"], name="fk_notice_closed_by_id_person"),
        sa.PrimaryKeyConstraint("id", name="pk_notice"),
    )
    op.create_index("ix_notice_open", "notice", ["plant_id", "closed_at"])


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
    for column in ("tablet_id", "reason"):
        op.drop_column("reading", column)
    for column in ("language", "pin_hash"):
        op.drop_column("person", column)
    for table in (
        "notice",
        "release",
        "penetration",
        "reading_photo",
        "photo",
        "outbox_entry",
        "tablet_sign_in",
        "tablet",
    ):
        op.drop_table(table)
    if op.get_bind().dialect.name != "sqlite":
        for table in ("outbox_entry", "reading_photo"):
            op.execute(f"DROP FUNCTION {table}_refuses_changes()")
