"""Tablets: invited by the quality manager, enrolled once with a code, revoked when lost.

A tablet holds a random credential in a cookie; the database holds only its SHA-256.
"""

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.event import append_event
from qc_app.records.shop import Person, Plant, Station
from qc_app.records.tablet import Notice, OutboxEntry, Tablet
from qc_app.refusal import Refusal, shortened
from qc_app.work.notices import GAP
from qc_app.work.roles import Act, require
from qc_app.work.sign_in import hash_of

SEEN_EVERY = timedelta(minutes=5)
"""How often the time of last use is written; more often would make every page a write."""

CODE_LASTS = timedelta(minutes=15)

KEY_SIZES = {"iPad": 104, "iPad mini": 128, "Android": 126}
"""CSS pixels that make 20 mm on each kind of glass: 0.192, 0.156 and 0.159 mm each.

20 mm: beyond that, keys get no faster (Colle and Hiszem 2004, Ergonomics 47(13), 1406-1423).
"""


class CodeRefused(Refusal):
    """A code that enrols no tablet, because it is unknown, used or too old."""


@dataclass(frozen=True)
class TabletLine:
    """One tablet in the list: what has not come of what it says it has written, and its open gaps."""

    tablet: Tablet
    waiting: int
    gaps: int


def invite(
    session: Session, by: Person, name: str, station: Station, key_size: int, now: datetime
) -> tuple[Tablet, str]:
    """Makes room for a new tablet.

    Returns
    -------
    tuple of Tablet and str
        The tablet and the code that enrols it, once and within 15 minutes.

    Raises
    ------
    NotAllowed, Refusal
        If ``by`` may not, the name is empty or taken, the station belongs to another plant, or the size of
        keys suits no tablet.
    """
    require(by, Act.KEEP_TABLETS)
    if key_size not in KEY_SIZES.values():
        raise Refusal("Choose what kind of tablet it is.", about="key_size")
    tablet = Tablet(plant_id=by.plant_id, key_size=key_size, written=0)
    _place(session, tablet, name, station)
    session.add(tablet)
    code = _new_code(tablet, now)
    session.flush()
    _log(session, by, "tablet invited", tablet, now)
    return tablet, code


def invite_again(session: Session, by: Person, tablet: Tablet, now: datetime) -> str:
    """A new code for a tablet that lost its credential, was revoked, or never used its code."""
    require(by, Act.KEEP_TABLETS)
    _refuse_other_plant(by, tablet)
    code = _new_code(tablet, now)
    _log(session, by, "tablet invited", tablet, now)
    return code


def invited(session: Session, code: str, now: datetime) -> Tablet:
    """The tablet that a code enrols.

    Raises
    ------
    CodeRefused
        If the code is unknown, used or too old.
    """
    tablet = session.scalars(select(Tablet).where(Tablet.code_hash == hash_of(code))).first()
    if tablet is None:
        raise CodeRefused("This code was used already, or never given. Ask for a new one.")
    if tablet.code_expires_at is None or tablet.code_expires_at < now:
        raise CodeRefused("This code is older than 15 minutes. Ask for a new one.")
    return tablet


def enrol(session: Session, code: str, now: datetime) -> tuple[Tablet, str]:
    """Enrols a tablet; an earlier credential of the same tablet is worthless from then on.

    Returns
    -------
    tuple of Tablet and str
        The tablet and the credential it keeps.

    Raises
    ------
    CodeRefused
        If the code is unknown, used or too old.
    """
    tablet = invited(session, code, now)
    credential = secrets.token_urlsafe(32)
    tablet.code_hash = tablet.code_expires_at = tablet.revoked_at = None
    tablet.credential_hash = hash_of(credential)
    tablet.enrolled_at = tablet.seen_at = now
    _log(session, None, "tablet enrolled", tablet, now)
    return tablet, credential


def revoke(session: Session, by: Person, tablet: Tablet, now: datetime) -> None:
    """Shuts a tablet out; what it sent stays."""
    require(by, Act.KEEP_TABLETS)
    _refuse_other_plant(by, tablet)
    if tablet.revoked_at is None:
        tablet.revoked_at = now
        tablet.code_hash = tablet.code_expires_at = tablet.credential_hash = None
        _log(session, by, "tablet revoked", tablet, now)


def move(session: Session, by: Person, tablet: Tablet, name: str, station: Station, now: datetime) -> None:
    """Gives a tablet a name and a station, which may be the ones it has."""
    require(by, Act.KEEP_TABLETS)
    _refuse_other_plant(by, tablet)
    _place(session, tablet, name, station)
    _log(session, by, "tablet moved", tablet, now)


def tablets(session: Session, by: Person) -> list[TabletLine]:
    """All tablets of the plant, those in use first, then by name."""
    listed = session.scalars(
        select(Tablet)
        .where(Tablet.plant_id == by.plant_id)
        .order_by(Tablet.revoked_at.is_not(None), Tablet.name)
    )
    return [_line(session, tablet) for tablet in listed]


def holder_of(session: Session, credential: str) -> Tablet | None:
    """The tablet that holds a credential, unless it was revoked."""
    return session.scalars(
        select(Tablet).where(Tablet.credential_hash == hash_of(credential), Tablet.revoked_at.is_(None))
    ).first()


def is_due_to_be_seen(tablet: Tablet, now: datetime) -> bool:
    """Whether the time of last use should be written again."""
    return tablet.seen_at is None or now - tablet.seen_at > SEEN_EVERY


def see(session: Session, tablet_id: int, now: datetime) -> None:
    """Writes the time of last use."""
    session.get_one(Tablet, tablet_id).seen_at = now


def _new_code(tablet: Tablet, now: datetime) -> str:
    code = secrets.token_urlsafe(24)
    tablet.code_hash, tablet.code_expires_at = hash_of(code), now + CODE_LASTS
    return code


def _place(session: Session, tablet: Tablet, name: str, station: Station) -> None:
    if station.plant_id != tablet.plant_id:
        raise Refusal("{name} belongs to another plant.", name=station.name)
    if not name.strip() or len(name) > 80:
        raise Refusal(
            "A tablet needs a name of 1 to 80 characters. Given: “{given}”.",
            about="name",
            given=shortened(name),
        )
    same = select(Tablet.id).where(Tablet.plant_id == tablet.plant_id, Tablet.name == name.strip())
    if session.scalar(same) not in (None, tablet.id):
        raise Refusal("There is a tablet “{given}” already.", about="name", given=name.strip())
    tablet.name, tablet.station = name.strip(), station


def _refuse_other_plant(by: Person, tablet: Tablet) -> None:
    if tablet.plant_id != by.plant_id:
        raise Refusal("{name} belongs to another plant.", name=tablet.name)


def _line(session: Session, tablet: Tablet) -> TabletLine:
    came = session.scalar(
        select(func.count()).select_from(OutboxEntry).where(OutboxEntry.outbox == tablet.outbox)
    )
    gaps = session.scalars(
        select(Notice).where(Notice.tablet_id == tablet.id, Notice.about == GAP, Notice.closed_at.is_(None))
    )
    missing = sum(len(notice.facts["numbers"]) for notice in gaps)
    return TabletLine(tablet, max(tablet.written - (came or 0) - missing, 0), missing)


def _log(session: Session, by: Person | None, what: str, tablet: Tablet, now: datetime) -> None:
    facts = {"tablet": tablet.name, "number": tablet.id, "station": tablet.station.key}
    append_event(session, session.get_one(Plant, tablet.plant_id), what, facts, at=now, person=by)
