"""Instruments: what is known of each, kept by the quality manager, on the record."""

from datetime import date

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.instrument import parse_reading
from qc_app.plan.quantity import GRAINS
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.shop import Instrument
from qc_app.refusal import Refusal
from qc_app.spc.gauge import crossed
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.gauge_study import read_study, uncertainty_of_study
from qc_app.work.instruments import (
    Details,
    add_instrument,
    change_instrument,
    instrument_of,
    retire_instrument,
)
from qc_app.work.roles import NotAllowed
from tests.conftest import NOW, Cast
from tests.work.conftest import Said

DETAILS = Details(500_000, "II", 1_000_000, "K-2231", date(2027, 3, 1))


def tape(session: Session, cast: Cast) -> Instrument:
    return find.instruments(session, cast.person(session, "manager"), ("tape",))[0]


def newest_event(session: Session) -> Event:
    return session.scalars(select(Event).order_by(Event.id.desc()).limit(1)).one()


def test_what_is_known_of_a_new_instrument_is_kept_and_on_the_record(database: Database, cast: Cast) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        made = add_instrument(session, manager, "tape", "Tape 9", None, NOW, DETAILS)
        session.flush()
        assert (made.standard_uncertainty, made.accuracy_class, made.graduation) == (500_000, "II", 1_000_000)
        assert (made.certificate, made.due_on) == ("K-2231", date(2027, 3, 1))
        event = newest_event(session)
        assert event.what == "instrument added"
        assert event.facts["due_on"] == "2027-03-01"


def test_after_a_calibration_it_is_written_down_anew(database: Database, cast: Cast) -> None:
    with database.write() as session:
        change_instrument(session, cast.person(session, "manager"), tape(session, cast), DETAILS, NOW)
    with database.read() as session:
        changed = tape(session, cast)
        assert (changed.certificate, changed.due_on, changed.active) == ("K-2231", date(2027, 3, 1), True)
        assert newest_event(session).facts == {
            "name": "Tape 4",
            "standard_uncertainty": 500_000,
            "accuracy_class": "II",
            "graduation": 1_000_000,
            "certificate": "K-2231",
            "due_on": "2027-03-01",
        }


def test_its_own_uncertainty_goes_into_its_readings(database: Database, cast: Cast) -> None:
    with database.write() as session:
        change_instrument(session, cast.person(session, "manager"), tape(session, cast), DETAILS, NOW)
        assert Said().record(session, cast).standard_uncertainty == 500_000


def test_one_taken_out_of_use_is_offered_no_more_and_its_readings_stay(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        reading = Said().record(session, cast)
        retired = tape(session, cast)
        manager = cast.person(session, "manager")
        retire_instrument(session, manager, retired, "Blade kinked.", NOW)
        assert find.instruments(session, manager, ("tape",)) == []
        assert reading.instruments == [retired]
        assert newest_event(session).facts == {"name": "Tape 4", "reason": "Blade kinked."}
        with pytest.raises(Refusal, match="out of use already"):
            retire_instrument(session, manager, retired, "Again.", NOW)


@pytest.mark.parametrize("reason", ["", "   ", "x" * 1001])
def test_a_reason_is_needed_to_take_one_out_of_use(
    sqlite_database: Database, shop: Cast, reason: str
) -> None:
    with sqlite_database.write() as session, pytest.raises(Refusal, match="few words"):
        retire_instrument(session, shop.person(session, "manager"), tape(session, shop), reason, NOW)


@pytest.mark.parametrize(
    ("details", "about", "sentence"),
    [
        (Details(accuracy_class="IX"), "accuracy_class", "no accuracy class “IX”"),
        (Details(standard_uncertainty=0), "standard_uncertainty", "more than zero"),
        (Details(graduation=-1), "graduation", "more than zero"),
        (Details(certificate="x" * 121), "certificate", "120 characters"),
    ],
)
def test_details_that_cannot_be_are_refused(
    sqlite_database: Database, shop: Cast, details: Details, about: str, sentence: str
) -> None:
    with sqlite_database.write() as session, pytest.raises(Refusal, match=sentence) as refused:
        change_instrument(session, shop.person(session, "manager"), tape(session, shop), details, NOW)
    assert refused.value.about == about


@pytest.mark.parametrize("who", ["worker", "lead"])
def test_only_who_keeps_the_shop_changes_instruments(sqlite_database: Database, shop: Cast, who: str) -> None:
    with sqlite_database.write() as session:
        person, known = shop.person(session, who), tape(session, shop)
        with pytest.raises(NotAllowed):
            change_instrument(session, person, known, DETAILS, NOW)
        with pytest.raises(NotAllowed):
            retire_instrument(session, person, known, "Worn.", NOW)


def test_another_plants_instruments_are_not_there(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        stranger, known = shop.person(session, "stranger"), tape(session, shop)
        with pytest.raises(NotFound):
            instrument_of(session, stranger, known.id)
        with pytest.raises(NotFound):
            change_instrument(session, stranger, known, DETAILS, NOW)
        with pytest.raises(NotFound):
            instrument_of(session, shop.person(session, "manager"), 2**70)


# Three parts, two people, two trials: the readings of the doctest of ``spc.crossed_study``, in grams.
STUDY = (((9.0, 9.1), (9.2, 9.1)), ((8.0, 8.1), (8.1, 8.3)), ((7.5, 7.5), (7.6, 7.5)))
LINES = "\n".join(
    f"part {part}; {'AB'[person]}; {reading} g"
    for part, people in enumerate(STUDY)
    for person, trials in enumerate(people)
    for reading in trials
)


def test_a_gauge_study_gives_the_uncertainty_of_a_reading() -> None:
    found = uncertainty_of_study(read_study("scale", LINES))
    expected = crossed(STUDY).components.standard_uncertainty
    assert found == round(expected * GRAINS)
    assert uncertainty_of_study(crossed(STUDY).components, GRAINS) == found
    assert 50_000 < found < 200_000


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("1; A; 60 g\n1; A", "part; person; reading"),
        ("1; A; sixty", "not a mass"),
        (LINES + "\npart 0; A; 9.0 g", "equally often"),
        ("1; A; 60 g\n1; A; 61 g", "parts"),
        ("", "equally often"),
        ("1; A; 60 g\n" * 2001, "at most 2000 lines"),
    ],
)
def test_a_study_that_cannot_be_one_is_refused(text: str, sentence: str) -> None:
    with pytest.raises(Refusal, match=sentence) as refused:
        read_study("scale", text)
    assert refused.value.about == "study"


def test_a_study_without_variation_says_nothing() -> None:
    lines = "\n".join(f"{part}; {who}; {part} g" for part in (1, 2) for who in "AB" for _ in range(2))
    with pytest.raises(Refusal, match="no variation"):
        uncertainty_of_study(read_study("scale", lines))


def test_a_tapes_study_may_be_typed_in_inches() -> None:
    lines = [(p, w, t) for p, at in ((1, 24), (2, 25)) for w in "AB" for t in (f"{at} 1/16", f"{at} 1/8")]
    found = uncertainty_of_study(read_study("tape", "\n".join(f"{p}; {w}; {t} in" for p, w, t in lines)))
    # Four cells, each of two trials 1/16 in apart: 4 · (1/16)²/2 over 4 degrees of freedom and the one of the
    # interaction, which shows nothing and is pooled (AIAG, Measurement Systems Analysis, 4th edition).
    assert found == pytest.approx(parse_length("1/16").nanometres * (2 / 5) ** 0.5, abs=1)
    assert parse_reading("tape", "24 1/16 in") == parse_length("24 1/16").nanometres
