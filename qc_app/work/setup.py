"""Setting up an empty database: plant, first quality manager, default control plan."""

import hashlib
import secrets
from datetime import datetime
from importlib import resources
from zoneinfo import ZoneInfo, available_timezones

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.plan.control_plan import ControlPlan as ControlPlanRead
from qc_app.plan.document import read_plan
from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.event import append_event
from qc_app.records.shop import Person, Plant, Secret, Station
from qc_app.refusal import Refusal, shortened
from qc_app.work.people import enrol
from qc_app.work.roles import Role

SYSTEMS = ("imperial", "metric")
DENOMINATORS = (16, 32, 64)


def is_set_up(session: Session) -> bool:
    """Whether this database already belongs to a shop."""
    return session.scalar(select(Plant.id).limit(1)) is not None


def set_up(
    session: Session,
    *,
    plant_name: str,
    system: str,
    time_zone: str,
    manager_name: str,
    sign_in_name: str,
    password: str,
    now: datetime,
    denominator: int = 16,
) -> Person:
    """Makes the plant, its first quality manager and the default control plan.

    Raises
    ------
    Refusal
        If the database is set up already, or an answer cannot be taken.
    """
    if is_set_up(session):
        raise Refusal("This log is set up already. Sign in.")
    plant = add_plant(session, plant_name, system, denominator, time_zone)
    manager = enrol(session, plant, manager_name, sign_in_name, Role.QUALITY_MANAGER, password)
    facts = {
        "plant": plant.name,
        "system": system,
        "denominator": denominator,
        "time_zone": time_zone,
        "name": manager.name,
        "sign_in_name": manager.sign_in_name,
    }
    append_event(session, plant, "plant set up", facts, at=now, person=manager)
    adopt_plan(session, plant, default_document(), "The plan a new shop starts with.", manager, now)
    return manager


def add_plant(session: Session, name: str, system: str, denominator: int, time_zone: str) -> Plant:
    """The row for a plant, after checking every part of it."""
    if not name.strip() or len(name) > 120:
        raise Refusal("A plant needs a name of 1 to 120 characters. Given: “{given}”.", given=shortened(name))
    if system not in SYSTEMS or denominator not in DENOMINATORS:
        raise Refusal("Units are imperial to 1/16, 1/32 or 1/64 in, or metric.")
    if time_zone not in available_timezones():
        raise Refusal(
            "“{given}” is no time zone. Write it like America/New_York or Europe/Copenhagen.",
            given=shortened(time_zone),
        )
    plant = Plant(name=name.strip(), system=system, denominator=denominator, time_zone=time_zone)
    session.add(plant)
    session.flush()
    return plant


def adopt_plan(
    session: Session,
    plant: Plant,
    document: str,
    reason: str,
    by: Person,
    now: datetime,
    in_force_from: datetime | None = None,
) -> ControlPlan:
    """Adds a version of the control plan, in force at once or later, and the stations it names.

    Names and cautions of stations that are there already change when the version comes into force.

    Raises
    ------
    Refusal
        If the document cannot be read.
    """
    plan, begin = read_plan(document), in_force_from or now
    newest = session.scalar(select(func.max(ControlPlan.version)).where(ControlPlan.plant_id == plant.id))
    version = ControlPlan(
        plant_id=plant.id, version=(newest or 0) + 1, document=document, reason=reason, in_force_from=begin
    )
    version.characteristics = [
        Characteristic(kind=c.kind, station=c.station, key=c.key, name=c.name, quantity=c.quantity)
        for c in plan.characteristics
    ]
    session.add(version)
    keep_stations(session, plant, plan, only_new=begin > now)
    sha256 = hashlib.sha256(document.encode()).hexdigest()
    facts = {
        "version": version.version,
        "reason": reason,
        "sha256": sha256,
        "in_force_from": begin.isoformat(),
    }
    append_event(session, plant, "control plan adopted", facts, at=now, person=by)
    return version


def keep_stations(session: Session, plant: Plant, plan: ControlPlanRead, *, only_new: bool = False) -> None:
    """Adds the stations that a plan names, and gives those there already its names, order and cautions."""
    known = {s.key: s for s in session.scalars(select(Station).where(Station.plant_id == plant.id))}
    for position, described in enumerate(plan.stations, 1):
        station = known.get(described.key)
        if station is not None and only_new:
            continue
        station = station or Station(plant_id=plant.id, key=described.key)
        station.name, station.position = described.name, position
        station.cautions = list(described.cautions)
        session.add(station)


def plan_in_force(session: Session, plant: Plant, now: datetime) -> ControlPlan:
    """The newest version whose day has come."""
    return session.scalars(
        select(ControlPlan)
        .where(ControlPlan.plant_id == plant.id, ControlPlan.in_force_from <= now)
        .order_by(ControlPlan.version.desc())
        .limit(1)
    ).one()


def default_document() -> str:
    """The text of the control plan that comes with the program."""
    return resources.files("qc_app.plan").joinpath("default.toml").read_text("utf-8")


def cookie_key(session: Session) -> str:
    """The key that signs this installation's cookies, made at first use."""
    found = session.get(Secret, "cookie key")
    if found is None:
        found = Secret(name="cookie key", value=secrets.token_urlsafe(48))
        session.add(found)
        session.flush()
    return found.value


def local_zone(plant: Plant) -> ZoneInfo:
    """The plant's own time zone."""
    return ZoneInfo(plant.time_zone)
