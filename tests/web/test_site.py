"""For the crew on site, and for the customer: the next panel, the key that says it is set, what is proven."""

from html import unescape

import pytest
from flask import Flask
from sqlalchemy import select

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.release import Load, Passage, Release
from qc_app.web.request import now
from qc_app.work.hold import place_hold
from tests.conftest import NOW, Cast
from tests.web.conftest import Browser
from tests.web.test_access import client_of
from tests.work.conftest import Said
from tests.work.newcomers import Newcomers, add_newcomers


@pytest.fixture
def new(shop: Cast, sqlite_database: Database) -> Newcomers:
    return add_newcomers(sqlite_database, shop)


@pytest.fixture
def crew(app: Flask, sqlite_database: Database, new: Newcomers) -> Browser:
    """The site crew lead's phone."""
    return Browser(client_of(app, sqlite_database, new.site_lead))


@pytest.fixture
def customer(app: Flask, sqlite_database: Database, new: Newcomers) -> Browser:
    return Browser(client_of(app, sqlite_database, new.customer))


def let_go(database: Database, shop: Cast, *panels: int) -> None:
    with database.write() as session:
        for panel_id in panels or (shop.panel, shop.floor_panel):
            session.add(Release(panel_id=panel_id, person_id=shop.lead, released_at=NOW))


def test_the_next_panel_is_the_first_in_raising_order_that_is_not_set(
    shop: Cast, crew: Browser, sqlite_database: Database
) -> None:
    assert "Next: R-01" in crew.get(f"/site/{shop.building}")
    with sqlite_database.write() as session:
        session.add(Passage(panel_id=shop.panel, what="set", person_id=shop.lead, at=NOW))
    assert "Next: F-01" in crew.get(f"/site/{shop.building}")
    with sqlite_database.write() as session:
        session.get_one(Panel, shop.floor_panel).scrapped_at = NOW
    assert "Every panel is set" in crew.get(f"/site/{shop.building}")


def test_a_panel_that_may_not_leave_is_not_to_be_raised(
    shop: Cast, crew: Browser, sqlite_database: Database
) -> None:
    page = crew.get(f"/site/{shop.building}")
    assert "Do not raise it." in page
    assert "It is not released." in page
    assert "R-01 is set" not in page
    let_go(sqlite_database, shop)
    assert "Do not raise it" not in crew.get(f"/site/{shop.building}")
    with sqlite_database.write() as session:
        panel = session.get_one(Panel, shop.panel)
        place_hold(session, shop.person(session, "lead"), panel, "Crane pick torn.", now())
    page = crew.get(f"/site/{shop.building}")
    assert "Do not raise it." in page
    assert "Crane pick torn." in page


def test_the_sizes_are_those_measured_beside_the_nominal_ones(
    shop: Cast, crew: Browser, sqlite_database: Database
) -> None:
    assert "No size of it was measured." in crew.get(f"/site/panel/{shop.panel}")
    with sqlite_database.write() as session:
        Said(entries={"length": "24' 0 1/32"}).record(session, shop)
        entries = {"ac": "25' 3 9/16", "bd": "25' 3 1/2"}
        Said("squareness", "", entries).record(session, shop)
    page = unescape(crew.get(f"/site/panel/{shop.panel}"))
    assert "Length of edge, AB" in page
    assert "24' 0 1/32" in page
    assert '<td>+1/32"</td>' in page or '<td>+1/16"</td>' in page
    assert "25' 3 9/16 · 25' 3 1/2" in page
    assert '24\' 0" × 8\' 0" × 11 1/4"' in page


def test_load_and_place_in_the_stack_count_from_the_top(
    shop: Cast, crew: Browser, sqlite_database: Database
) -> None:
    assert "not on a load" in crew.get(f"/site/panel/{shop.panel}")
    with sqlite_database.write() as session:
        load = Load(building_id=shop.building, number=4)
        session.add(load)
        session.flush()
        for panel_id in (shop.panel, shop.floor_panel):
            session.get_one(Panel, panel_id).load_id = load.id
    assert "4, number 1 of 2 from the top" in crew.get(f"/site/panel/{shop.panel}")
    assert "4, number 2 of 2 from the top" in crew.get(f"/site/panel/{shop.floor_panel}")


def test_the_crew_says_that_a_panel_is_set_and_how_it_fitted(
    shop: Cast, crew: Browser, new: Newcomers, sqlite_database: Database
) -> None:
    let_go(sqlite_database, shop)
    leads_to = crew.post(
        f"/site/panel/{shop.panel}/set", {"remark": " Tight by 1/8 at the ridge. "}, f"/site/{shop.building}"
    )
    assert leads_to == f"/site/{shop.building}"
    with sqlite_database.read() as session:
        passage = session.scalars(select(Passage)).one()
        assert (passage.what, passage.panel_id, passage.person_id) == ("set", shop.panel, new.site_lead)
        assert passage.remark == "Tight by 1/8 at the ridge."
    page = crew.get(f"/site/{shop.building}")
    assert "Next: F-01" in page
    assert "1 of 2 panels left to set" in page
    again = crew.post(f"/site/panel/{shop.panel}/set", {"remark": ""}, f"/site/{shop.building}", 400)
    assert "R-01 is set already." in unescape(again)


def test_a_panel_held_while_the_page_lay_open_is_not_set(
    shop: Cast, crew: Browser, sqlite_database: Database
) -> None:
    let_go(sqlite_database, shop)
    assert "R-01 is set" in crew.get(f"/site/panel/{shop.panel}")
    with sqlite_database.write() as session:
        panel = session.get_one(Panel, shop.panel)
        place_hold(session, shop.person(session, "lead"), panel, "Crane pick torn.", now())
    assert "R-01 is set" not in crew.get(f"/site/panel/{shop.panel}")
    path = f"/site/panel/{shop.panel}/set"
    page = unescape(crew.post(path, {"remark": ""}, f"/site/panel/{shop.floor_panel}", 400))
    assert "R-01 is held since it was released. Do not raise it; call the shop lead." in page
    assert "Crane pick torn." in page
    with sqlite_database.read() as session:
        assert session.scalars(select(Passage)).all() == []


def test_a_panel_of_another_building_cannot_be_set(
    crew: Browser, new: Newcomers, shop: Cast, sqlite_database: Database
) -> None:
    let_go(sqlite_database, shop, shop.panel, new.other_panel)
    crew.post(f"/site/panel/{new.other_panel}/set", {"remark": ""}, f"/site/{shop.building}", 404)
    with sqlite_database.read() as session:
        assert session.scalars(select(Passage)).all() == []


def test_a_label_leads_the_crew_to_the_panels_page_on_site(shop: Cast, crew: Browser) -> None:
    assert crew.client.get("/p/h1/r-01").location == f"/site/panel/{shop.panel}"
    assert crew.client.get("/p/H2/R-77").status_code == 404


def test_lifting_comes_with_its_cautions_and_defers_to_whoever_is_qualified(
    shop: Cast, crew: Browser
) -> None:
    page = unescape(crew.get(f"/site/{shop.building}"))
    for words in ("qualified rigger", "licensed engineer", "local code", "never a rigging plan"):
        assert words in page
    # 29 CFR 1926.251(a)(4): special lifting accessories are proof-tested to 125 percent of their rated load.
    assert "125 %" in page


def concede(database: Database, shop: Cast) -> None:
    with database.write() as session:
        one = Nonconformity(
            building_id=shop.building,
            number=7,
            panel_id=shop.panel,
            what="Edge AB is long.",
            opened_at=NOW,
            opened_by_id=shop.worker,
            closed_at=NOW,
            closed_how="accept",
            version=1,
        )
        session.add(one)
        session.flush()
        decision = Disposition(
            nonconformity_id=one.id,
            kind="accept",
            person_id=shop.manager,
            at=NOW,
            reason="The joint has play.",
            agreed_by="Cleo Fenn",
        )
        session.add(decision)


def test_a_concession_is_told_on_site_and_to_the_customer_without_the_names_of_workers(
    shop: Cast, crew: Browser, customer: Browser, sqlite_database: Database
) -> None:
    concede(sqlite_database, shop)
    for page in (crew.get(f"/site/panel/{shop.panel}"), customer.get(f"/proof/{shop.building}")):
        assert "Edge AB is long." in page
        assert "“The joint has play.” Agreed by Cleo Fenn." in unescape(page)
        assert "Wren Abbey" not in page
        assert "Mira Quill" not in page


def test_the_customer_sees_how_many_checks_of_a_panel_are_proven(
    shop: Cast, customer: Browser, sqlite_database: Database
) -> None:
    before = unescape(customer.get(f"/proof/{shop.building}"))
    assert "0 of 2 panels released, 0 set." in before
    with sqlite_database.write() as session:
        Said().record(session, shop)
        Said(place="DC", entries={"length": "25'"}).record(session, shop)  # outside: proves nothing
        panel = session.get_one(Panel, shop.panel)
        due = sum(
            len(panel.control_plan.plan.checks(panel.subject, station))
            for station in panel.control_plan.plan.kind(panel.kind).route
        )
    assert f"1 of {due} checks proven" in customer.get(f"/proof/{shop.building}")


def test_the_customer_takes_the_packet_of_the_own_building_only(
    shop: Cast, customer: Browser, new: Newcomers
) -> None:
    answer = customer.client.get(f"/building/{shop.building}/packet.pdf")
    assert (answer.status_code, answer.data[:5]) == (200, b"%PDF-")
    assert customer.client.get(f"/building/{new.other_building}/packet.pdf").status_code == 404
