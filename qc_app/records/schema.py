"""What every table shares: naming of constraints, column types, and the declarative class."""

from datetime import UTC, datetime
from typing import Any, ClassVar

from sqlalchemy import BigInteger, DateTime, Dialect, Integer, MetaData, TypeDecorator
from sqlalchemy.orm import DeclarativeBase

NAMES = {
    "ix": "ix_%(column_0_N_label)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

Identity = BigInteger().with_variant(Integer, "sqlite")
"""Type of a primary key: SQLite numbers rows by itself only where the type reads INTEGER."""

Amount = BigInteger
"""Type of a measured or nominal amount: a whole number of the quantity's grains (``plan.quantity``)."""


class UtcTime(TypeDecorator[datetime]):
    """An aware time, stored in UTC. SQLite forgets the zone, so it is put back when read."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"a time without a zone cannot be stored: {value.isoformat()}")
        utc = value.astimezone(UTC)
        return utc.replace(tzinfo=None) if dialect.name == "sqlite" else utc

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Table(DeclarativeBase):
    """A table of the log."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, Any]] = {datetime: UtcTime}
