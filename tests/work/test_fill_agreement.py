"""The mass blown into a bay against a core out of it.

A bay of the roof panel holds 14.0625 ft³. A core of 2 1/2 in bore through 11 1/4 in weighs 57.98 g at
4.0 lb/ft³ (mass / (π/4 · bore² · depth), exact units: NIST SP 811, appendix B.8).
"""

import math
from datetime import datetime, timedelta

import pytest
from sqlalchemy.orm import Session

from qc_app.records.building import Lot
from qc_app.records.database import Database
from qc_app.work.fill_agreement import LESS_IN_CORE, MORE_IN_CORE, FillAgreement, fill_agreements
from qc_app.work.history import history_of, outcome_of
from tests.conftest import NOW, Cast, panel_of
from tests.work.conftest import Said

GRAMS_AT_4 = 4 * (math.pi / 4 * 2.5**2 * 11.25) / 1728 * 453.59237


def at(minute: int) -> datetime:
    return NOW - timedelta(minutes=30 - minute)


def blown(bay: int, pounds: float, minute: int = 0) -> Said:
    return Said(
        "bay_fill",
        f"bay {bay}",
        {"mass": f"{pounds} lb", "setting": "gate 4"},
        at(minute),
        station="fill",
        instruments=("scale",),
    )


def cored(bay: int, grams: float = GRAMS_AT_4, minute: int = 5) -> Said:
    return Said(
        "core_density",
        f"bay {bay}",
        {"mass": f"{grams:.2f} g", "depth": "11 1/4"},
        at(minute),
        station="fill",
        instruments=("core_cutter", "scale"),
    )


def found(session: Session, cast: Cast) -> tuple[FillAgreement, ...]:
    return fill_agreements(session, panel_of(session, cast))


def test_a_bay_whose_mass_and_core_say_the_same_agrees(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        blown(3, 56.25).record(session, shop)
        cored(3).record(session, shop)
        (agreement,) = found(session, shop)
        assert (agreement.place, agreement.agrees, agreement.advice) == ("bay 3", True, None)
        assert abs(agreement.normalised_error) < 0.05


@pytest.mark.parametrize(("pounds", "advice"), [(50.0, MORE_IN_CORE), (63.0, LESS_IN_CORE)])
def test_a_difference_that_no_uncertainty_explains_is_said(
    sqlite_database: Database, shop: Cast, pounds: float, advice: str
) -> None:
    with sqlite_database.write() as session:
        blown(3, pounds).record(session, shop)
        cored(3).record(session, shop)
        (agreement,) = found(session, shop)
        assert not agreement.agrees
        assert agreement.advice == advice


def test_the_score_is_the_difference_over_both_expanded_uncertainties(
    sqlite_database: Database, shop: Cast
) -> None:
    # ISO 13528:2022, Eₙ (from memory): (x₁ − x₂) / √(U₁² + U₂²), U = 2u.
    with sqlite_database.write() as session:
        mass, core = blown(3, 53).record(session, shop), cored(3).record(session, shop)
        (agreement,) = found(session, shop)
        assert mass.standard_uncertainty is not None
        assert core.standard_uncertainty is not None
        spread = 2 * math.hypot(mass.standard_uncertainty, core.standard_uncertainty)
        assert agreement.normalised_error == pytest.approx((mass.amount - core.amount) / spread)


def test_only_bays_with_both_are_compared_in_their_order(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        for bay in (10, 2, 3):
            blown(bay, 56).record(session, shop)
        for bay in (10, 2, 4):
            cored(bay).record(session, shop)
        assert [agreement.place for agreement in found(session, shop)] == ["bay 2", "bay 10"]


def test_the_newest_mass_is_compared(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        blown(3, 45).record(session, shop)
        cored(3).record(session, shop)
        blown(3, 56.25, minute=9).record(session, shop)
        (agreement,) = found(session, shop)
        assert agreement.agrees


def test_it_stands_in_the_history_of_the_panel(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        blown(3, 45).record(session, shop)
        cored(3).record(session, shop)
        history = history_of(session, panel_of(session, shop))
        assert [a.advice for a in history.fill_agreements] == [MORE_IN_CORE]
        assert history_of(session, session.get_one(Lot, shop.lot)).fill_agreements == ()


def test_the_mass_that_the_target_takes_stands_beside_the_reading(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        reading = blown(3, 50).record(session, shop)
        (wanted,) = outcome_of(reading, panel_of(session, shop)).companions
        assert wanted.amount / 453_592_370 == pytest.approx(56.25)
