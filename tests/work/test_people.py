"""Adding people: who may, what is taken, and how passwords are kept."""

import importlib.util
import re

import pytest
from sqlalchemy import func, select

from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import people
from qc_app.work.people import LONGEST_PASSWORD, SHORTEST_PASSWORD, add_person, password_hasher
from qc_app.work.roles import NotAllowed
from tests.conftest import NOW, PASSWORD, Cast

USUAL = {"name": "Ida Moss", "sign_in_name": "ida", "role": "worker", "password": PASSWORD}


def add(database: Database, cast: Cast, by: str = "manager", **otherwise: str) -> int:
    with database.write() as session:
        said = USUAL | otherwise
        name, sign_in_name, role, password = (
            said[key] for key in ("name", "sign_in_name", "role", "password")
        )
        return add_person(session, cast.person(session, by), name, sign_in_name, role, password, NOW).id


def number_of_people(database: Database) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(Person)) or 0


def test_the_quality_manager_adds_people_to_the_own_plant(database: Database, cast: Cast) -> None:
    added = add(database, cast, sign_in_name=" Ida.M ")
    with database.read() as session:
        person, manager = session.get_one(Person, added), cast.person(session, "manager")
        assert (person.name, person.sign_in_name, person.role, person.active) == (
            "Ida Moss",
            "ida.m",
            "worker",
            True,
        )
        assert person.plant_id == manager.plant_id
        event = session.scalars(select(Event).order_by(Event.id.desc()).limit(1)).one()
        told = {"name": "Ida Moss", "sign_in_name": "ida.m", "role": "worker"}
        assert (event.what, event.facts) == ("person added", told)


@pytest.mark.parametrize("by", ["worker", "lead"])
def test_others_add_nobody(sqlite_database: Database, shop: Cast, by: str) -> None:
    before = number_of_people(sqlite_database)
    with pytest.raises(NotAllowed, match="may not keep people and instruments"):
        add(sqlite_database, shop, by)
    assert number_of_people(sqlite_database) == before


@pytest.mark.parametrize(
    ("otherwise", "said"),
    [
        ({"name": "  "}, "A name needs 1 to 120 characters"),
        ({"name": "n" * 121}, "A name needs 1 to 120 characters"),
        ({"sign_in_name": "i"}, "“i”"),
        ({"sign_in_name": "ida moss"}, "“ida moss”"),
        ({"sign_in_name": "-ida"}, "“-ida”"),
        ({"sign_in_name": "i" * 61}, "2 to 60 letters"),
        ({"sign_in_name": "ïda"}, "“ïda”"),
        ({"role": "owner"}, "site_lead, customer, administrator. Given: “owner”"),
        ({"password": "p" * (SHORTEST_PASSWORD - 1)}, "A password needs 10 to 128 characters"),
        ({"password": "p" * (LONGEST_PASSWORD + 1)}, "A password needs 10 to 128 characters"),
        ({"sign_in_name": "wren"}, "“wren” is taken"),
        ({"sign_in_name": " WREN"}, "“wren” is taken"),
        ({"sign_in_name": "sten"}, "“sten” is taken"),  # of another plant, but signing in knows no plants
    ],
)
def test_what_cannot_be_taken_is_refused(
    sqlite_database: Database, shop: Cast, otherwise: dict[str, str], said: str
) -> None:
    before = number_of_people(sqlite_database)
    with pytest.raises(Refusal, match=re.escape(said)) as refused:
        add(sqlite_database, shop, **otherwise)
    assert number_of_people(sqlite_database) == before
    assert otherwise.get("password", "no password") not in str(refused.value)


@pytest.mark.parametrize("length", [SHORTEST_PASSWORD, LONGEST_PASSWORD])
def test_passwords_of_any_letters_are_taken_whole(sqlite_database: Database, shop: Cast, length: int) -> None:
    password = ("lärche " * 20)[: length - 1]
    added = add(sqlite_database, shop, password=password + "x")
    with sqlite_database.read() as session:
        kept = session.get_one(Person, added).password_hash
    assert password_hasher().verify(kept, password + "x")
    with pytest.raises(Exception, match="does not match"):
        password_hasher().verify(kept, password + "y")


def test_equal_passwords_have_different_hashes(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.read() as session:
        hashes = session.scalars(select(Person.password_hash)).all()
    assert len(set(hashes)) == len(hashes) == 4


def test_passwords_are_hashed_at_more_than_the_least_cost() -> None:
    # The module as it is in use; other tests hash at the least cost of all.
    assert people.__file__ is not None
    described = importlib.util.spec_from_file_location("people_in_use", people.__file__)
    assert described is not None
    assert described.loader is not None
    in_use = importlib.util.module_from_spec(described)
    described.loader.exec_module(in_use)
    cost = re.match(r"\$argon2id\$v=19\$m=(\d+),t=(\d+),p=(\d+)\$", in_use.password_hasher().hash(PASSWORD))
    assert cost is not None
    memory, passes, lanes = map(int, cost.groups())
    assert (passes, memory, lanes) == in_use.HASHING_COST == (3, 65_536, 4)
    # OWASP ASVS 5.0, appendix C: argon2id with 3 or more passes needs 12 MiB or more.
    assert passes >= 3
    assert memory >= 12 * 1024
