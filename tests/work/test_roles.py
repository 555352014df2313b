"""Who may do what."""

from itertools import product

import pytest

from qc_app.records.shop import Person
from qc_app.work.roles import MAY, Act, NotAllowed, Role, may, require

SHOP = {"worker", "lead", "quality_manager"}
LEADING = {"lead", "quality_manager"}
KEEPING = {"quality_manager", "administrator"}
ALLOWED = {
    "record readings": SHOP,
    "look at panels and charts": SHOP,
    "book in lots": SHOP,
    "freeze control limits": {"quality_manager"},
    "import files": {"quality_manager"},
    "export readings": LEADING,
    "make handover packets": {*LEADING, "customer"},
    "keep people and instruments": KEEPING,
    "invite and revoke tablets": KEEPING,
    "take in the file of an outbox": LEADING,
    "close notices": LEADING,
    "release panels": LEADING,
    "open nonconformities": SHOP,
    "decide how nonconformities are put right": LEADING,
    "accept panels as they are, or scrap them": {"quality_manager"},
    "put panels on hold": SHOP,
    "lift holds": LEADING,
    "sign in and out, and choose a language": {*SHOP, *KEEPING, "site_lead", "customer"},
    "scan labels": {*SHOP, "site_lead"},
    "follow the board of the shop": LEADING,
    "see what is proven of a building": {*LEADING, "customer"},
    "see what is raised next": {*LEADING, "site_lead"},
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
