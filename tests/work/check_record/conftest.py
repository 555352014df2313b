"""The shop after something was measured, and after something was decided."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.nonconformity import decide, open_by_person
from qc_app.work.record import record
from qc_app.work.release import passage, release, withdraw
from tests.conftest import NOW, Cast
from tests.work.conftest import Said, member
from tests.work.proven import prove

LATER = NOW + timedelta(hours=2)


@pytest.fixture
def measured(database: Database, cast: Cast) -> UUID:
    """The shop after a reading of a length, a correction of it, another reading, and a member of a lot."""
    first = Said()
    with database.write() as session:
        first.record(session, cast)
    with database.write() as session:
        Said(place="DC", note="after planing").record(session, cast)
        member(1).record(session, cast)
        correct(session, cast, first)
    return first.uuid


def correct(session: Session, cast: Cast, said: Said) -> None:
    """Corrects what was said to what it was."""
    new = said.new(session, cast)
    again = type(new)(**{**vars(new), "uuid": uuid4(), "supersedes": said.uuid, "reason": "Misread."})
    record(session, cast.person(session, "worker"), again, NOW)


@pytest.fixture
def decided(database: Database, cast: Cast) -> Cast:
    """The shop after a concession, a hold lifted, a release, a loading, a withdrawal, and a hold in force."""
    with database.write() as session:
        panel = session.get_one(Panel, cast.floor_panel)
        lead, manager = cast.person(session, "lead"), cast.person(session, "manager")
        prove(session, cast, panel)
        one = open_by_person(session, lead, panel, "Split sill.", "", (), NOW)
        decide(session, manager, one, "accept", "Hidden.", one.version, NOW, "Ada Fern")
        lift_hold(session, lead, place_hold(session, lead, panel, "Wait.", NOW), "Waited.", LATER)
        made = release(session, lead, panel, LATER)
        passage(session, lead, panel, "loaded", LATER, "On top.")
        withdraw(session, lead, made, "Screws missing.", LATER)
        place_hold(session, lead, panel, "Screws.", LATER)
    return cast
