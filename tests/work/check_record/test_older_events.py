"""Events of before they said so much: they stay valid, and what they do say is compared."""

from collections.abc import Mapping
from pathlib import Path

import pytest
from sqlalchemy import select, text
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.event import BEGINNING, Event
from tests.work.check_record.tampering import found_in, open_to_tampering
from tests.work.check_record.whole_shop import whole_shop

READING = (
    "station",
    "plan",
    "target",
    "lower",
    "upper",
    "standard_uncertainty",
    "instruments",
    "note",
    "tablet_number",
)
SCHEDULED = (
    "plan",
    "length",
    "width",
    "depth",
    "run",
    "position",
    "raising_sequence",
    "bays",
    "connectors",
    "penetrations",
)
SAID_SINCE: Mapping[str, tuple[str, ...]] = {
    "plant set up": ("system", "denominator", "time_zone", "name", "sign_in_name"),
    "person added": ("sign_in_name",),
    "role changed": ("sign_in_name", "role"),
    "instrument added": ("bore",),
    "building added": ("name",),
    "panel scheduled": SCHEDULED,
    "panel made again": (*SCHEDULED, "kind", "load"),
    "lot booked in": ("kind", "plan", "length", "width", "depth"),
    "control plan adopted": ("sha256", "in_force_from"),
    "reading recorded": READING,
    "reading corrected": READING,
    "nonconformity opened": ("characteristic", "place", "reading"),
    "hold lifted": ("held", "placed_at"),
    "material received": ("remark", "received_at"),
    "lot used": ("use", "used_at"),
    "control limits frozen": ("station", "base_ends_at", "points", "centre", "sigma"),
    "tablet invited": ("number",),
    "tablet enrolled": ("number",),
    "tablet revoked": ("number",),
}
"""What each kind of event has come to say over time."""


def make_older(session: Session) -> None:
    """Takes from all events what they have come to say, as if they had been written before."""
    open_to_tampering(session)
    previous: dict[str, str] = {}
    for event in session.scalars(select(Event).order_by(Event.chain, Event.number)):
        left_out = SAID_SINCE.get(event.what, ())
        event.facts = {name: fact for name, fact in event.facts.items() if name not in left_out}
        event.previous_hash = previous.get(event.chain, BEGINNING)
        event.hash = previous[event.chain] = event.expected_hash()
    session.flush()


@pytest.fixture
def older(database: Database, tmp_path: Path) -> Path:
    """The folder of photos of a shop whose events are of before."""
    whole_shop(database, tmp_path / "photos")
    with database.write() as session:
        make_older(session)
    return tmp_path / "photos"


def test_older_events_stay_valid(database: Database, older: Path) -> None:
    with database.read() as session:
        what = set(session.scalars(select(Event.what)))
        assert set(SAID_SINCE) <= what
        assert found_in(session, older) == []


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ("UPDATE reading SET amount = 1", "the record says that the amount of the reading"),
        ("UPDATE lot_use SET station_id = (SELECT max(id) FROM station)", "the station of this use of a lot"),
        ("UPDATE nonconformity SET what = 'Nothing.'", "the text of nonconformity 1"),
        ("UPDATE material_lot SET supplier = 'Another'", "the supplier of this lot of material"),
        ("UPDATE person SET role = 'lead'", "the role of person Wren Abbey is “worker”"),
        ("UPDATE hold SET lift_reason = 'x' WHERE lifted_at IS NOT NULL", "the reason of this lifting"),
    ],
)
def test_what_older_events_say_is_compared(database: Database, older: Path, change: str, found: str) -> None:
    with database.write() as session:
        open_to_tampering(session)
        session.execute(text(change))
        assert any(found in finding for finding in found_in(session, older))
        session.rollback()


def test_what_older_events_do_not_say_is_not_made_up(database: Database, older: Path) -> None:
    with database.write() as session:
        open_to_tampering(session)
        session.execute(text("UPDATE reading SET upper = 1, note = 'x'"))
        assert found_in(session, older) == []
        session.rollback()
