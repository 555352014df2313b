"""Who may do what."""

from itertools import product

import pytest

from qc_app.records.shop import Person
from qc_app.work.roles import MAY, Act, NotAllowed, Role, may, require

EVERYONE = {"worker", "lead", "quality_manager"}
ALLOWED = {
    "record readings": EVERYONE,
    "look at panels and charts": EVERYONE,
    "book in lots": EVERYONE,
    "freeze control limits": {"quality_manager"},
    "import files": {"quality_manager"},
    "export readings": {"lead", "quality_manager"},
    "make handover packets": {"lead", "quality_manager"},
    "keep people and instruments": {"quality_manager"},
    "invite and revoke tablets": {"quality_manager"},
    "take in the file of an outbox": {"lead", "quality_manager"},
    "close notices": {"lead", "quality_manager"},
    "release panels": {"lead", "quality_manager"},
}


@pytest.mark.parametrize(("role", "act"), [*product(Role, Act)])
def test_a_role_may_do_what_its_work_needs(role: Role, act: Act) -> None:
    person = Person(name="Ida", role=role.value, active=True)
    assert may(person, act) == (role in ALLOWED[act])


def test_every_act_is_for_somebody() -> None:
    assert {act.value for act in MAY} == set(ALLOWED) == {act.value for act in Act}


@pytest.mark.parametrize("act", Act)
def test_somebody_inactive_may_do_nothing(act: Act) -> None:
    gone = Person(name="Ida", role="quality_manager", active=False)
    assert not may(gone, act)
    with pytest.raises(NotAllowed, match=f"Ida may not {act.value}."):
        require(gone, act)


def test_whoever_may_is_let_through() -> None:
    require(Person(name="Ida", role="worker", active=True), Act.RECORD)


def test_an_unknown_role_may_nothing_by_mistake() -> None:
    with pytest.raises(ValueError, match="owner"):
        may(Person(name="Ida", role="owner", active=True), Act.RECORD)
