"""The control plan: its versions, one of them in words, and what differs between two."""

from datetime import datetime, timedelta

from flask import Blueprint, Response, current_app, render_template
from flask import request as asked

from qc_app.plan.comparison import compare
from qc_app.plan.control_plan import ControlPlan
from qc_app.records.shop import Plant
from qc_app.web.access import allow
from qc_app.web.quality import plan_wording as wording
from qc_app.web.request import database, now, person, reading_session, signed_in, tablet
from qc_app.work import plan_versions
from qc_app.work.plan_drafts import find_draft
from qc_app.work.roles import Act, may
from qc_app.work.setup import plan_in_force

pages = Blueprint("plan", __name__)

LOOKED = "qc_app plan taken up"
LOOK_EVERY = timedelta(minutes=1)
"""How often a request looks whether the day of another version has come."""


@pages.get("/plan")
@allow(Act.LOOK)
def overview() -> str:
    """All versions, newest first."""
    session = reading_session()
    draft = find_draft(session, person()) if may(person(), Act.EDIT_PLAN) else None
    listed = plan_versions.versions(session, person(), now())
    return render_template("plan.html", versions=listed, draft=draft)


@pages.get("/plan/version/<int:version_id>")
@allow(Act.LOOK)
def version(version_id: int) -> str:
    """One version in words, and what it changed."""
    session = reading_session()
    shown = plan_versions.version(session, person(), version_id)
    listed = plan_versions.versions(session, person(), now())
    before = next((v.version for v in listed if v.version.version == shown.version - 1), None)
    return render_template(
        "plan_version.html",
        shown=shown,
        adopted=next(v for v in listed if v.version.id == shown.id),
        before=before,
        changes=changes(before.plan, shown.plan) if before else [],
        wording=wording,
    )


@pages.get("/plan/version/<int:version_id>/control-plan.toml")
@allow(Act.LOOK)
def download(version_id: int) -> Response:
    """The document of a version as a file."""
    shown = plan_versions.version(reading_session(), person(), version_id)
    return as_file(shown.document, f"control-plan-{shown.version}.toml")


def changes(old: ControlPlan, new: ControlPlan) -> list[dict[str, str]]:
    """What differs between two versions, in words."""
    units = person().plant.units
    return [wording.difference_words(difference, old, new, units) for difference in compare(old, new)]


def in_force() -> ControlPlan:
    """The version in force now, as read."""
    return plan_in_force(reading_session(), person().plant, now()).plan


def as_file(document: str, name: str) -> Response:
    """A document to keep as a file."""
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(document, mimetype="application/toml", headers=disposition)


@pages.before_app_request
def _take_up() -> None:
    """Has stations and panels follow a version whose day has come, with the first request after it."""
    there = (signed_in() or tablet()) if asked.endpoint not in (None, "static") else None
    if there is None or not _is_time_to_look(there.plant_id):
        return
    plant = reading_session().get_one(Plant, there.plant_id)
    if not plan_versions.is_taken_up(reading_session(), plant, now()):
        with database().write() as session:
            plan_versions.take_up(session, session.get_one(Plant, there.plant_id), now())
        reading_session().rollback()  # what it looked at ends here; the page sees what was written


def _is_time_to_look(plant_id: int) -> bool:
    looked: dict[int, datetime] = current_app.extensions.setdefault(LOOKED, {})
    at = now()
    if plant_id in looked and at - looked[plant_id] < LOOK_EVERY:
        return False
    looked[plant_id] = at
    return True
