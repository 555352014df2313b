"""A plant's next version of the control plan while it is being written: one draft, and adopting it."""

import hashlib
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.plan.control_plan import ControlPlan as ControlPlanRead
from qc_app.plan.document import read_plan
from qc_app.plan.edit import Path, value_at
from qc_app.plan.problems import Problem, line_of
from qc_app.plan.problems import problems as problems_of
from qc_app.records.control_plan import ControlPlan, PlanDraft
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound
from qc_app.work.plan_versions import begins, newest, replaced_before_it_began, take_up
from qc_app.work.roles import Act, require
from qc_app.work.said import reason_of
from qc_app.work.setup import adopt_plan, local_zone

LONGEST_DOCUMENT = 100_000
"""Characters; the plan that a new shop starts with has some 20 000."""


class SavedMeanwhile(Refusal):
    """Somebody else has saved the draft since it was opened. Nothing of either is lost.

    ``document`` is what the other saved, and ``revision`` the one to save upon; what was refused is still
    with whoever typed it.
    """

    def __init__(self, draft: PlanDraft, editor: Person) -> None:
        self.document = draft.document
        self.revision = draft.revision
        self.saved_at = draft.edited_at
        self.editor = editor.name
        super().__init__(
            phrase(
                "{who} has saved this draft since you opened it. Both are shown: bring them together, and "
                "save again."
            ),
            who=editor.name,
        )


class HasProblems(Refusal):
    """A draft that cannot be adopted; ``problems`` are all of them."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        super().__init__(
            phrase("The draft has problems: {count}. The first: {said}"),
            count=len(problems),
            said=str(problems[0]),
        )


def find_draft(session: Session, person: Person) -> PlanDraft | None:
    """The draft of the person's plant, if there is one."""
    require(person, Act.EDIT_PLAN)
    return session.scalars(select(PlanDraft).where(PlanDraft.plant_id == person.plant_id)).first()


def draft_of(session: Session, person: Person) -> PlanDraft:
    """The draft of the person's plant. Raises NotFound if there is none."""
    found = find_draft(session, person)
    if found is None:
        raise NotFound("There is no draft of the control plan. Begin one.")
    return found


def begin(session: Session, person: Person, now: datetime) -> PlanDraft:
    """Begins a draft as a copy of the newest version, even where that still waits for its day.

    So what was adopted for a later day is not lost by whoever changes something else before.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, or there is a draft already.
    """
    present = find_draft(session, person)
    if present is not None:
        raise Refusal(
            "There is a draft already, based on version {version}.", version=present.based_on.version
        )
    based_on = newest(session, person.plant_id)
    draft = PlanDraft(
        plant_id=person.plant_id,
        based_on=based_on,
        document=based_on.document,
        edited_by_id=person.id,
        edited_at=now,
    )
    session.add(draft)
    _log(session, person, "plan draft begun", {"based_on": based_on.version}, now)
    return draft


def save(
    session: Session, person: Person, draft: PlanDraft, document: str, revision: int, now: datetime
) -> PlanDraft:
    """Saves a draft, with or without problems. ``revision`` is the one that was opened.

    Raises
    ------
    SavedMeanwhile
        If somebody saved since.
    NotAllowed, Refusal
        If the person may not, it is another plant's, or the document is too long.
    """
    _refuse_elsewhere(person, draft)
    refuse_stale(session, draft, revision)
    if len(document) > LONGEST_DOCUMENT or "\0" in document:
        raise Refusal(
            "A control plan has at most {most} characters, all of them printable. Given: {given}.",
            most=LONGEST_DOCUMENT,
            given=len(document),
        )
    draft.document = document.replace("\r\n", "\n")
    draft.edited_by_id, draft.edited_at = person.id, now
    session.flush()
    facts = {"revision": draft.revision, "sha256": _sha256(draft.document)}
    _log(session, person, "plan draft saved", facts, now)
    return draft


def discard(session: Session, person: Person, draft: PlanDraft, revision: int, now: datetime) -> None:
    """Throws a draft away.

    Raises
    ------
    SavedMeanwhile, NotAllowed, Refusal
        As ``save`` does.
    """
    _refuse_elsewhere(person, draft)
    refuse_stale(session, draft, revision)
    facts = {"based_on": draft.based_on.version, "sha256": _sha256(draft.document)}
    session.delete(draft)
    _log(session, person, "plan draft discarded", facts, now)


def adopt(
    session: Session,
    person: Person,
    draft: PlanDraft,
    revision: int,
    reason: str,
    in_force_from: date,
    now: datetime,
) -> ControlPlan:
    """Makes a draft the newest version, in force from a day on; from today means at once.

    Versions that wait for that day or a later one never come into force (see ``plan_versions``). Panels that
    have not started follow at once, or on the day.

    Raises
    ------
    SavedMeanwhile
        If somebody saved since ``revision`` was shown.
    HasProblems
        If anything is wrong with it.
    NotAllowed, Refusal
        If the person may not, it is another plant's, nothing was changed, no reason is given, or the day is
        past.
    """
    _refuse_elsewhere(person, draft)
    refuse_stale(session, draft, revision)
    said = reason_of(reason)
    if in_force_from < now.astimezone(local_zone(person.plant)).date():
        raise Refusal(
            "A version comes into force today or on a later day, so that no reading is judged by it that was "
            "made before. Given: {given}.",
            about="in_force_from",
            given=in_force_from.isoformat(),
        )
    if found := problems(session, person, draft.document):
        raise HasProblems(found)
    if draft.document == newest(session, person.plant_id).document:
        raise Refusal("Nothing differs from version {version}.", version=draft.based_on.version)
    document, begin_at = draft.document, begins(person.plant, in_force_from, now)
    session.delete(draft)
    session.flush()
    version = adopt_plan(session, person.plant, document, said, person, now, begin_at)
    session.flush()
    take_up(session, person.plant, now)
    return version


def problems(session: Session, person: Person, document: str) -> list[Problem]:
    """All that is wrong with a document for this plant: in itself, or beside the versions before it."""
    return problems_of(document) or measured_otherwise(session, person, document)


def measured_otherwise(session: Session, person: Person, document: str) -> list[Problem]:
    """Characteristics that an earlier version of the plant measured in another way under the same key.

    A control chart is kept by key: two ways in one chart would look like a change of the process.
    """
    before: dict[str, str] = {}
    for earlier in session.scalars(
        select(ControlPlan).where(ControlPlan.plant_id == person.plant_id).order_by(ControlPlan.version)
    ):
        before.update(_ways(earlier.plan))
    return [
        _measured_otherwise(document, key, before[key])
        for key, way in _ways(read_plan(document)).items()
        if before.get(key, way) != way
    ]


def replaced_by(session: Session, person: Person, in_force_from: date, now: datetime) -> list[ControlPlan]:
    """The versions still waiting that would never come into force if one were adopted for that day."""
    return replaced_before_it_began(session, person.plant_id, begins(person.plant, in_force_from, now), now)


def editor_of(session: Session, draft: PlanDraft) -> Person:
    """Who saved it last."""
    return session.get_one(Person, draft.edited_by_id)


def _ways(plan: ControlPlanRead) -> dict[str, str]:
    return {characteristic.key: characteristic.method.key for characteristic in plan.characteristics}


def _measured_otherwise(document: str, key: str, before: str) -> Problem:
    tables = value_at(document, ("characteristic",))
    number = next(number for number, table in enumerate(tables) if table["key"] == key)
    path: Path = ("characteristic", number, "method")
    name = tables[number]["name"]
    refusal = Refusal(
        "{name} was measured in another way before ({before}). So that its control chart does not mix the "
        "two, give what is measured now a new key instead of “{key}”.",
        name=name,
        before=before,
        key=key,
    )
    return Problem(refusal, path, "measured otherwise", name, line_of(document, path))


def _refuse_elsewhere(person: Person, draft: PlanDraft) -> None:
    require(person, Act.EDIT_PLAN)
    if draft.plant_id != person.plant_id:
        raise NotFound("There is no draft of the control plan. Begin one.")


def refuse_stale(session: Session, draft: PlanDraft, revision: int) -> None:
    """Raises SavedMeanwhile if somebody saved the draft since that revision."""
    if draft.revision != revision:
        raise SavedMeanwhile(draft, editor_of(session, draft))


def _sha256(document: str) -> str:
    return hashlib.sha256(document.encode()).hexdigest()


def _log(session: Session, person: Person, what: str, facts: dict[str, object], now: datetime) -> None:
    append_event(session, person.plant, what, facts, at=now, person=person)
