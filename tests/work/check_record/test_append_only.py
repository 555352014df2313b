"""Tables that the database itself refuses to change."""

from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import JSON, Connection, insert, text
from sqlalchemy import Table as CoreTable
from sqlalchemy.exc import DBAPIError
from sqlalchemy.types import TypeEngine

from qc_app.records.database import Database
from qc_app.records.schema import Table, UtcTime
from tests.conftest import NOW

APPEND_ONLY = (
    "disposition",
    "event",
    "instrument_check",
    "lot_use",
    "outbox_entry",
    "passage",
    "reading",
    "reading_instrument",
    "reading_photo",
    "release",
    "release_withdrawal",
)


@pytest.mark.parametrize("change", ["UPDATE {table} SET {column} = {column}", "DELETE FROM {table}"])
@pytest.mark.parametrize("table", APPEND_ONLY)
def test_the_database_itself_refuses_to_change_what_is_append_only(
    database: Database, table: str, change: str
) -> None:
    known = Table.metadata.tables[table]
    column = known.columns.keys()[0]
    with database.engine.connect() as connection:
        put_in_a_row(connection, known)
        with pytest.raises(DBAPIError, match=f"{table} is append-only"):
            connection.execute(text(change.format(table=table, column=column)))


def put_in_a_row(connection: Connection, table: CoreTable) -> None:
    """A row of nothing much, since a trigger on SQLite asks about rows; on PostgreSQL it needs none."""
    if connection.dialect.name != "sqlite":
        return
    connection.execute(text("PRAGMA defer_foreign_keys = ON"))
    connection.execute(text("PRAGMA ignore_check_constraints = ON"))
    connection.execute(insert(table).values({c.name: nothing_much(c.type) for c in table.columns}))


def nothing_much(kind: TypeEngine[Any]) -> object:
    if isinstance(kind, UtcTime):
        return NOW
    if isinstance(kind, JSON):
        return {}
    return {int: 1, str: "x", bool: True, UUID: UUID(int=1)}[kind.python_type]


def test_every_append_only_table_of_the_program_is_in_the_list(database: Database) -> None:
    query = (
        "SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%refuses%'"
        if database.engine.dialect.name == "sqlite"
        else "SELECT DISTINCT event_object_table FROM information_schema.triggers "
        "WHERE trigger_name LIKE '%refuses%'"
    )
    with database.read() as session:
        guarded = set(session.scalars(text(query)))
    assert guarded == set(APPEND_ONLY)
    assert guarded <= set(Table.metadata.tables)
