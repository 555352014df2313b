"""What was decided about panels, as the packet tells it: releases, concessions, lots used."""

import io
import re
from datetime import timedelta
from uuid import uuid4

import numpy as np
import pikepdf
import pytest
import zxingcpp
from numpy.typing import NDArray
from pypdf import PdfReader
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.packet.content import BuildingPacket, packet_content
from qc_app.packet.document import building_pdf, code_drawn
from qc_app.packet.panel_record import PanelRecord
from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.shop import Station
from qc_app.work.nonconformity import decide, open_by_person
from qc_app.work.plan_moves import move_panel
from qc_app.work.release import release, withdraw
from qc_app.work.setup import adopt_plan, default_document
from tests.conftest import NOW, Cast, stage
from tests.work.conftest import Said, check
from tests.work.proven import prove

LATER = NOW + timedelta(hours=2)
VERIFY = "https://log.fern.example:8443/verify/"


@pytest.fixture
def shop(sqlite_database: Database) -> Cast:
    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        prove(session, cast, session.get_one(Panel, cast.floor_panel))
    return cast


def content(session: Session, cast: Cast) -> BuildingPacket:
    session.flush()
    session.expire_all()
    return packet_content(session, session.get_one(Building, cast.building), LATER, VERIFY)


def floor_in(packet: BuildingPacket) -> PanelRecord:
    return next(panel for panel in packet.panels if panel.mark.startswith("F-01"))


def accept(session: Session, cast: Cast) -> None:
    at = NOW + timedelta(minutes=30)
    check("label_check", "final", "no", at=at, of="floor_panel").record(session, cast, LATER)
    one = session.scalars(select(Nonconformity)).one()
    manager = cast.person(session, "manager")
    decide(session, manager, one, "accept", "Marked on the other face.", one.version, LATER, "Ada Fern")


def text_of(packet: BuildingPacket) -> str:
    pages = PdfReader(io.BytesIO(building_pdf(packet))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u200b", "").split())


def test_a_release_is_told_with_its_hash_and_where_to_ask(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        made = release(session, shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel), LATER)
        packet = content(session, shop)
        told = floor_in(packet).acts.release
        assert told is not None
        assert (told.by, told.sha256, told.address) == ("Otto Lind", made.sha256, f"{VERIFY}{made.sha256}")
        assert packet.released == 1
        text = text_of(packet)
        assert "Released by Otto Lind, 2 Mar 2026, 12:00." in text
        assert str(made.sha256) in text.replace(" ", "")
        assert "Not released." in text


def test_the_code_beside_it_leads_there() -> None:
    address = f"{VERIFY}{'0a' * 32}"
    (found,) = zxingcpp.read_barcodes(dots_of(code_drawn(address)))
    assert found.text == address


def dots_of(svg: str) -> NDArray[np.uint8]:
    """The dark modules of a drawn code, four dots to each: black on white."""
    side = int(re.findall(r'width="(\d+)"', svg)[0])
    dots = np.full((side, side), 255, np.uint8)
    x = y = 0.0
    for step, first, second in re.findall(
        r"([Mmh])(-?[\d.]+)(?: (-?[\d.]+))?", re.findall(r' d="([^"]+)"', svg)[0]
    ):
        if step == "h":
            dots[int(y), int(x) : int(x) + int(first)] = 0
            x += int(first)
        else:
            x, y = (float(first), float(second)) if step == "M" else (x + float(first), y + float(second))
    return np.kron(dots, np.ones((4, 4), np.uint8))


def test_a_withdrawn_release_is_told_as_withdrawn(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        lead, panel = shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel)
        withdraw(session, lead, release(session, lead, panel, NOW), "Screws missing.", LATER)
        acts = floor_in(content(session, shop)).acts
        assert acts.release is None
        assert acts.withdrawn == (
            "The release of 2 Mar 2026, 10:00 was withdrawn on 2 Mar 2026, 12:00, because: Screws missing.",
        )


def test_a_concession_names_who_agreed_and_leaves_the_panel_proven(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        accept(session, shop)
        packet = content(session, shop)
        panel = floor_in(packet)
        assert panel.is_proven
        assert panel.summary.endswith(", 1 accepted by concession")
        (accepted,) = [line for line in panel.checks if line.accepted]
        assert accepted.accepted == ("Accepted as it is by concession (nonconformity 1, agreed by Ada Fern).")
        text = text_of(packet)
        assert "Agreed for the customer by Ada Fern." in text
        assert accepted.accepted in text


def test_what_a_person_found_keeps_the_panel_open_until_it_is_closed(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        worker, panel = shop.person(session, "worker"), session.get_one(Panel, shop.floor_panel)
        open_by_person(session, worker, panel, "Split sill.", "", (), NOW)
        told = floor_in(content(session, shop))
        assert not told.is_proven
        assert told.open_points == ("Nonconformity 1 is open: Split sill.",)
        assert told.summary == "Open: 1 nonconformity"


def test_a_scrapped_panel_is_left_out_and_the_one_made_for_it_says_so(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        worker, manager = shop.person(session, "worker"), shop.person(session, "manager")
        panel = session.get_one(Panel, shop.floor_panel)
        one = open_by_person(session, worker, panel, "Split sill.", "", (), NOW)
        decide(session, manager, one, "scrap", "Through the grain.", one.version, LATER)
        packet = content(session, shop)
        assert "F-01" not in [record.mark for record in packet.panels]
        assert floor_in(packet).made_again_for == "F-01"
        assert "Made again for F-01, which was scrapped." in text_of(packet)


def test_lots_used_are_listed_once_with_supplier_and_station(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        lot = MaterialLot(
            plant_id=worker.plant_id,
            mark="OSB-7",
            material="sheathing",
            supplier="Dale Boards",
            remark="",
            received_at=NOW,
            received_by=worker,
        )
        station = session.scalars(select(Station).where(Station.key == "sheathing_fence")).first()
        assert station is not None
        for _ in range(2):
            session.add(
                LotUse(
                    uuid=uuid4(),
                    material_lot=lot,
                    panel_id=shop.floor_panel,
                    station=station,
                    person=worker,
                    at=NOW,
                )
            )
        packet = content(session, shop)
        assert floor_in(packet).acts.lots == (f"OSB-7: sheathing, Dale Boards; {station.name}",)
        assert f"OSB-7: sheathing, Dale Boards; {station.name}" in text_of(packet)


def test_with_all_of_it_the_packet_is_still_for_the_archive_and_for_reading_aloud(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        accept(session, shop)
        release(session, shop.person(session, "lead"), session.get_one(Panel, shop.floor_panel), LATER)
        pdf = building_pdf(content(session, shop))
    with pikepdf.open(io.BytesIO(pdf)) as opened, opened.open_metadata() as metadata:
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("3", "A")
        assert metadata["pdfuaid:part"] == "1"


def test_what_a_newer_plan_doubts_is_open_though_its_reading_was_within(
    sqlite_database: Database, shop: Cast
) -> None:
    stricter = default_document().replace('plus_minus = "1/16 in"', 'plus_minus = "1/32 in"')
    with sqlite_database.write() as session:
        manager, panel = shop.person(session, "manager"), session.get_one(Panel, shop.panel)
        Said(place="AB", entries={"length": "24' 0 1/16\""}).record(session, shop)
        version = adopt_plan(session, manager.plant, stricter, "Stricter.", manager, LATER)
        move_panel(session, manager, panel, version, "New fence.", LATER)
        roof = next(one for one in content(session, shop).panels if one.mark.startswith("R-01"))
        assert [point for point in roof.open_points if point.startswith("Nonconformity")] == [
            "Nonconformity 1 is open: Length of edge, AB: 24' 0 1/16\", not proven under version 2 of the "
            "control plan."
        ]
