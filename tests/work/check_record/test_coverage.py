"""Every column of every table: whoever changes it by hand is found, or the list below says why not.

A table that is new has to be compared, or to be put on the list with a reason.
"""

from collections.abc import Iterator, Mapping
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from sqlalchemy import (
    Column,
    Executable,
    Select,
    String,
    Table,
    Text,
    UniqueConstraint,
    delete,
    insert,
    select,
    true,
    update,
)
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from qc_app.records import schema
from qc_app.records.database import Database
from qc_app.records.tablet import Notice
from tests.work.check_record.tampering import found_in, open_to_tampering
from tests.work.check_record.whole_shop import whole_shop

LEFT_OUT: Mapping[str, str] = {
    "sign_in": "who is signed in now; it ends by itself",
    "failed_sign_in": "counts wrong attempts and is forgotten",
    "tablet_sign_in": "who stood at a tablet lately; it ends by itself",
    "secret": "keys are never told",
    "outbox_entry": "what a tablet sent, as it came; what was taken from it is told and compared",
    "plan_draft": "not adopted yet; once it is, the event holds the hash of its document",
    "photo": "named by the hash of its bytes, which are compared with the file; so is its size",
    "stream": "worked out from readings; frozen limits are compared with its name and station",
    "point": "worked out from readings, and compared with its reading",
    "signal": "worked out from points and limits",
    "person.password_hash": "secrets are never told",
    "person.pin_hash": "secrets are never told",
    "person.language": "how somebody likes the pages, whenever they like",
    "panel.waiting_at": "worked out from readings",
    "lot.waiting_at": "worked out from readings",
    "tablet.key_size": "how large keys are shown",
    "tablet.code_hash": "secrets are never told",
    "tablet.code_expires_at": "secrets are never told",
    "tablet.credential_hash": "secrets are never told",
    "tablet.seen_at": "when it last asked for a page",
    "tablet.outbox": "what the tablet says of its memory",
    "tablet.written": "what the tablet says of its memory",
    "notice.facts": "a notice repeats what the record says; that somebody closed it is compared",
    "notice.tablet_id": "a notice repeats what the record says",
    "notice.raised_at": "a notice repeats what the record says",
    "nonconformity.version": "counts changes, so that two people do not decide past each other",
    "upload.person_id": "who handed in a file; who took it is told, and its content has a hash",
    "upload.uploaded_at": "when a file was handed in; when it was taken is told",
}
"""What the check does not compare, a table or a column of one, and why."""

ROW_NUMBER = "id"
"""Numbers rows within the database, and means nothing by itself."""

ONLY = {"notice": Notice.closed_by_id.is_not(None)}
"""Rows that are compared, where others are not: of notices those that somebody closed, with a remark."""

PAIRS = ("nonconformity_link",)
"""Tables whose rows are pairs, both ways round the same."""


def tables() -> Iterator[Table]:
    return (table for table in schema.Table.metadata.sorted_tables if table.name not in LEFT_OUT)


def columns(table: Table) -> Iterator[Column[Any]]:
    for column in table.columns:
        if column.name != ROW_NUMBER and f"{table.name}.{column.name}" not in LEFT_OUT:
            yield column


def test_the_list_of_what_is_left_out_names_what_there_is() -> None:
    known = set(schema.Table.metadata.tables)
    known |= {f"{name}.{c.name}" for name, t in schema.Table.metadata.tables.items() for c in t.columns}
    assert set(LEFT_OUT) <= known


def test_whatever_is_changed_added_or_taken_out_by_hand_is_found(database: Database, tmp_path: Path) -> None:
    photos = tmp_path / "photos"
    whole_shop(database, photos)
    with database.write() as session:
        open_to_tampering(session)
        assert found_in(session, photos) == []
        unfound = [
            what
            for table in tables()
            for what, ways in changes(session, table)
            if not is_found(session, what, ways, photos)
        ]
        session.rollback()
    assert unfound == []


def changes(session: Session, table: Table) -> Iterator[tuple[str, list[Executable]]]:
    """For each column one row with something else in it; one row twice; one row gone.

    Each comes with other ways to do it, for where the database refuses the first.
    """
    for column in columns(table):
        row = first(session, rows(table).where(column.is_not(None)).order_by(*largest(column)))
        one = update(table).where(*this(table, row))
        values = otherwise(session, column, row[column.name])
        yield f"{column} changed", [one.values({column.name: value}) for value in values]
    row = first(session, rows(table).order_by(*reversed(list(table.primary_key))))
    if table.name not in PAIRS:
        yield f"{table} with a row twice", [insert(table).values(copied(session, table, dict(row)))]
    yield f"{table} with a row less", [delete(table).where(*this(table, row))]


def rows(table: Table) -> Select[Any]:
    return select(table).where(ONLY.get(table.name, true()))


def largest(column: Column[Any]) -> list[Any]:
    """Has text that says something come before none."""
    return [column.desc()] if isinstance(column.type, String | Text) else []


def first(session: Session, query: Select[Any]) -> dict[str, Any]:
    row = session.execute(query.limit(1)).mappings().first()
    assert row is not None, f"no row to try it on: {query}"
    return dict(row)


def this(table: Table, row: Mapping[str, Any]) -> list[Any]:
    return [column == row[column.name] for column in table.primary_key]


def otherwise(session: Session, column: Column[Any], value: Any) -> list[Any]:
    """Other values that such a column may hold; of what it refers to, another row if there is one."""
    others: list[Any] = []
    if column.foreign_keys:
        (key,) = column.foreign_keys
        taken = session.scalars(select(column).where(column.is_not(None))).all()
        others += session.scalars(select(key.column).where(key.column.not_in(taken)).limit(1)).all()
        others += session.scalars(select(key.column).where(key.column != value).limit(1)).all()
    return [*others, changed(value)]


def changed(value: Any) -> Any:
    """Another value of the same type and length."""
    match value:
        case bool():
            return not value
        case int() | float():
            return value + 1000
        case datetime():
            return value + timedelta(hours=1)
        case date():
            return value + timedelta(days=1)
        case UUID():
            return uuid4()
        case list():
            return [*value, "beyond_limit"]
        case dict():
            return {key: changed(part) for key, part in value.items()} or {"chart": "Another"}
        case bytes():
            return value + b"\n"
        case str():
            return ("y" if value[:1] == "x" else "x") + value[1:]
    raise AssertionError(f"no other value for {value!r}")


def copied(session: Session, table: Table, row: dict[str, Any]) -> dict[str, Any]:
    """A row with a number of its own, and otherwise the same but for what has to be unique."""
    unique = [list(c.columns)[-1] for c in table.constraints if isinstance(c, UniqueConstraint)]
    unique += [list(index.columns)[-1] for index in table.indexes if index.unique]
    unique += [list(table.primary_key)[-1]]
    unique += [column for column in table.columns if column.unique]
    for column in {column.name: column for column in unique}.values():
        if row[column.name] is not None:
            row[column.name] = otherwise(session, column, row[column.name])[0]
    return row


def is_found(session: Session, what: str, ways: list[Executable], photos: Path) -> bool:
    """Whether the check finds a change, which is then taken back."""
    for way in ways:
        nested = session.begin_nested()
        try:
            open_to_tampering(session)
            session.execute(way)
            return bool(found_in(session, photos))
        except IntegrityError:
            continue  # the database refuses it this way, as with a number that is taken
        finally:
            nested.rollback()
    raise AssertionError(f"could not try it: {what}")
