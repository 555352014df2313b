"""The draft of the control plan: its forms and its text, what it would have done, and adopting it."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Any

from flask import Blueprint, Response, redirect, render_template, url_for
from flask import request as asked
from werkzeug.wrappers import Response as AnyResponse

from qc_app.plan.document import read_plan
from qc_app.plan.edit import Path, value_at, with_changes
from qc_app.plan.problems import Problem
from qc_app.records.control_plan import PlanDraft
from qc_app.refusal import Refusal, shortened
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.quality.plan import as_file, changes, in_force
from qc_app.web.quality.plan_forms import (
    AdoptForm,
    DraftForm,
    StationForm,
    TextForm,
    UploadForm,
    characteristic_form,
)
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import plan_drafts
from qc_app.work.find import NotFound
from qc_app.work.plan_drafts import SavedMeanwhile
from qc_app.work.plan_preview import USUAL_SPAN, Preview, preview
from qc_app.work.plan_versions import day_begins
from qc_app.work.roles import Act
from qc_app.work.setup import local_zone

pages = Blueprint("plan_draft", __name__, url_prefix="/plan/draft")

UNSHOWABLE = ("toml", "key", "table", "missing", "kind")
"""Rules that a part must not break to be shown as a form."""

Page = str | AnyResponse | tuple[str, int]


@pages.post("/begin")
@allow(Act.EDIT_PLAN)
def begin() -> AnyResponse:
    with database().write() as session:
        plan_drafts.begin(session, person_in(session), now())
    return redirect(url_for("plan_draft.overview"))


@pages.get("")
@allow(Act.EDIT_PLAN)
def overview() -> str:
    """What can be edited, what differs from the version in force, and what is wrong."""
    return _overview(_opened(DraftForm()), UploadForm())


@pages.get("/control-plan.toml")
@allow(Act.EDIT_PLAN)
def download() -> Response:
    return as_file(_draft().document, "control-plan-draft.toml")


@pages.post("/upload")
@allow(Act.EDIT_PLAN)
def upload() -> Page:
    """Takes a file as the text of the draft."""
    form = UploadForm()
    if form.validate_on_submit():
        try:
            _save(form, lambda _document: _text_of(form.file.data.read()))
            return redirect(url_for("plan_draft.text"))
        except Refusal as refusal:
            take_refusal(form, refusal, "file")
    return _overview(_opened(DraftForm()), form), 400


@pages.post("/discard")
@allow(Act.EDIT_PLAN)
def discard() -> AnyResponse:
    with database().write() as session:
        somebody = person_in(session)
        draft = plan_drafts.draft_of(session, somebody)
        plan_drafts.discard(session, somebody, draft, _revision(DraftForm()), now())
    return redirect(url_for("plan.overview"))


@pages.route("/text", methods=["GET", "POST"])
@allow(Act.EDIT_PLAN)
def text() -> Page:
    """The whole document as text."""
    form, conflict = TextForm(), None
    if form.validate_on_submit():
        try:
            _save(form, lambda _document: form.document.data or "")
            return redirect(url_for("plan_draft.text"))
        except SavedMeanwhile as refusal:
            conflict = _met(form, refusal)
        except Refusal as refusal:
            take_refusal(form, refusal, "document")
    else:
        form.document.data = _opened(form).document
    found = plan_drafts.problems(reading_session(), person(), form.document.data or "")
    page = render_template("plan_text.html", form=form, problems=found, conflict=conflict)
    return (page, 409 if conflict else 400) if form.form_errors or form.errors else page


@pages.route("/characteristic/<int:number>", methods=["GET", "POST"])
@allow(Act.EDIT_PLAN)
def characteristic(number: int) -> Page:
    """One characteristic, by its place in the document."""
    place = _place_of(_draft().document, number, asked.form.get("of"))
    path: Path = ("characteristic", place)
    table, conflict = _table(path), None
    form = characteristic_form(table)
    if form.validate_on_submit():
        try:
            if _take_change(form, lambda now_there: form.changes(now_there, path), path):
                return redirect(url_for("plan_draft.overview", _anchor=f"check-{place}"))
        except SavedMeanwhile as refusal:
            conflict = _met(form, refusal)
            table = value_at(refusal.document, path) or {}
    elif not form.errors:
        _opened(form)
        form.fill(table)
    page = render_template(
        "plan_characteristic.html",
        form=form,
        table=table,
        number=place,
        conflict=conflict,
        saved=_saved(table),
    )
    return (page, 409 if conflict else 400) if form.form_errors or form.errors else page


@pages.route("/station/<key>", methods=["GET", "POST"])
@allow(Act.EDIT_PLAN)
def station(key: str) -> Page:
    """One station."""
    path: Path = ("station", key)
    table, form, conflict = _table(path), StationForm(), None
    if form.validate_on_submit():
        try:
            if _take_change(form, lambda now_there: form.changes(now_there, path), path):
                return redirect(url_for("plan_draft.overview"))
        except SavedMeanwhile as refusal:
            conflict = _met(form, refusal)
            table = value_at(refusal.document, path) or {}
    elif not form.errors:
        _opened(form)
        form.fill(table)
    page = render_template(
        "plan_station.html", form=form, table=table, key=key, conflict=conflict, saved=_saved(table)
    )
    return (page, 409 if conflict else 400) if form.form_errors or form.errors else page


@pages.get("/preview")
@allow(Act.EDIT_PLAN)
def previewed() -> Page:
    """What the draft would have made of readings already taken."""
    refusal, found = None, None
    first, last = _span()
    try:
        found = _preview(asked.args.get("since", first), asked.args.get("until", last))
    except Refusal as said:
        refusal = said
    page = render_template(
        "plan_preview.html",
        found=found,
        refusal=refusal,
        since=asked.args.get("since", first),
        until=asked.args.get("until", last),
    )
    return (page, 400) if refusal else page


@pages.route("/adopt", methods=["GET", "POST"])
@allow(Act.EDIT_PLAN)
def adopt() -> Page:
    """Everything that adopting changes, and the key that does it."""
    form, draft = AdoptForm(), _draft()
    if form.validate_on_submit():
        try:
            return redirect(url_for("plan.version", version_id=_adopted(form)))
        except SavedMeanwhile as refusal:
            take_refusal(form, refusal)
            form.revision.data = str(refusal.revision)
        except Refusal as refusal:
            take_refusal(form, refusal)
    elif asked.method == "GET":
        _opened(form)
        form.in_force_from.data = _today().isoformat()
    found = plan_drafts.problems(reading_session(), person(), draft.document)
    page = render_template(
        "plan_adopt.html",
        form=form,
        draft=draft,
        problems=found,
        changes=[] if found else changes(in_force(), read_plan(draft.document)),
        previewed=None if found else _usual_preview(),
        replaced=_replaced(form.in_force_from.data or ""),
    )
    return (page, 400) if form.form_errors or form.errors else page


def _draft() -> PlanDraft:
    return plan_drafts.draft_of(reading_session(), person())


def _opened(form: DraftForm) -> PlanDraft:
    """The draft, whose revision the form carries from now on."""
    draft = _draft()
    form.revision.data = str(draft.revision)
    return draft


def _revision(form: DraftForm) -> int:
    given = form.revision.data or ""
    return int(given) if given.isascii() and given.isdigit() and len(given) < 10 else 0


def _save(form: DraftForm, write: Callable[[str], str]) -> None:
    with database().write() as session:
        somebody = person_in(session)
        draft = plan_drafts.draft_of(session, somebody)
        document = write(draft.document)
        plan_drafts.save(session, somebody, draft, document, _revision(form), now())


def _take_change(form: Any, changed: Callable[[Mapping[str, Any]], dict[Path, Any]], path: Path) -> bool:
    """Saves what a form changes; if its part of the plan then has problems, shows these instead."""
    with database().write() as session:
        somebody = person_in(session)
        draft = plan_drafts.draft_of(session, somebody)
        document = draft.document
        try:
            document = with_changes(document, changed(value_at(document, path) or {}))
        except Refusal as refusal:
            take_refusal(form, refusal)
            return False
        found = _of_part(plan_drafts.problems(session, somebody, document), path)
        if not found:
            plan_drafts.save(session, somebody, draft, document, _revision(form), now())
            return True
        plan_drafts.refuse_stale(session, draft, _revision(form))
    _show(form, found)
    return False


def _show(form: Any, found: list[Problem]) -> None:
    if hasattr(form, "take"):
        form.take(found)
        return
    for problem in found:
        take_refusal(form, problem, str(problem.path[-1]))


def _of_part(found: list[Problem], path: Path) -> list[Problem]:
    return [problem for problem in found if problem.path[: len(path)] == path]


def _met(form: DraftForm, refusal: SavedMeanwhile) -> SavedMeanwhile:
    """Lets the form be saved again, upon what somebody else saved, once both have been seen."""
    form.revision.data = str(refusal.revision)
    take_refusal(form, refusal)
    return refusal


def _table(path: Path) -> dict[str, Any]:
    """A part of the draft as far as a form can show it."""
    draft = _draft()
    found = plan_drafts.problems(reading_session(), person(), draft.document)
    broken = [p for p in found if p.rule == "toml" or (p.rule in UNSHOWABLE and p.path[: len(path)] == path)]
    if broken:
        raise Refusal(
            "This cannot be shown as a form before the text is corrected: {said}", said=str(broken[0])
        )
    table = value_at(draft.document, path)
    if not isinstance(table, dict):
        raise NotFound("There is no such part in the draft.")
    return table


def _saved(table: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What is saved of a part, key by key, as the document writes it."""
    return [(key, _written(value)) for key, value in table.items()]


def _written(value: Any) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {_written(part)}" for key, part in value.items())
    if isinstance(value, list):
        between = "; " if any(isinstance(part, dict) for part in value) else ", "
        return between.join(_written(part) for part in value)
    return str(value).lower() if isinstance(value, bool) else str(value)


def _place_of(document: str, number: int, key: str | None) -> int:
    """Where a characteristic stands now: somebody may have put others before it since the form was opened."""
    tables = value_at(document, ("characteristic",)) if key else None
    listed = (
        [t.get("key") if isinstance(t, dict) else None for t in tables] if isinstance(tables, list) else []
    )
    if key in listed and (number >= len(listed) or listed[number] != key):
        return listed.index(key)
    return number


def _overview(draft: PlanDraft, upload: UploadForm) -> str:
    upload.revision.data = str(draft.revision)
    found = plan_drafts.problems(reading_session(), person(), draft.document)
    readable = not any(problem.rule == "toml" for problem in found)
    return render_template(
        "plan_draft.html",
        draft=draft,
        editor=plan_drafts.editor_of(reading_session(), draft),
        problems=found,
        parts_of_plan=_parts(draft.document) if readable else [],
        changes=[] if found else changes(in_force(), read_plan(draft.document)),
        upload=upload,
    )


def _parts(document: str) -> list[tuple[str, str, list[tuple[int, str]]]]:
    """Stations with their names, each with the checks made there and their places in the document."""
    stations, tables = (value_at(document, (part,)) for part in ("station", "characteristic"))
    listed = [*enumerate(tables)] if isinstance(tables, list) else []
    there = [(number, table) for number, table in listed if isinstance(table, dict)]
    return [
        (
            key,
            str(table.get("name", key)) if isinstance(table, dict) else key,
            [(n, str(t.get("name") or t.get("key") or n + 1)) for n, t in there if t.get("station") == key],
        )
        for key, table in (stations.items() if isinstance(stations, dict) else ())
    ]


def _text_of(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refusal("The file is no text in UTF-8.", about="file") from error


def _today() -> date:
    return now().astimezone(local_zone(person().plant)).date()


def _day(given: str, about: str) -> date:
    try:
        return date.fromisoformat(given)
    except ValueError as error:
        raise Refusal(
            "A day is written like 2026-03-02. Given: “{given}”.", about=about, given=shortened(given)
        ) from error


def _span() -> tuple[str, str]:
    """First and last day of the span that is usually looked at."""
    return (_today() - USUAL_SPAN).isoformat(), _today().isoformat()


def _preview(since: str, until: str) -> Preview:
    first, last = _day(since, "since"), _day(until, "until") + timedelta(days=1)
    span = (day_begins(person().plant, day) for day in (first, last))
    return preview(reading_session(), person(), read_plan(_draft().document), *span)


def _usual_preview() -> Preview | Refusal:
    try:
        return _preview(*_span())
    except Refusal as refusal:
        return refusal


def _adopted(form: AdoptForm) -> int:
    day = _day(form.in_force_from.data or "", "in_force_from")
    with database().write() as session:
        somebody = person_in(session)
        draft = plan_drafts.draft_of(session, somebody)
        version = plan_drafts.adopt(
            session, somebody, draft, _revision(form), form.reason.data or "", day, now()
        )
        return version.id


def _replaced(given: str) -> list[int]:
    """Versions that would never come into force if this one did on the day given."""
    try:
        day = _day(given, "in_force_from")
    except Refusal:
        return []
    return [v.version for v in plan_drafts.replaced_by(reading_session(), person(), day, now())]
