"""How fast states are worked out for a building of 400 panels with 100 events each."""

import sys
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from uuid import UUID

import pytest
from sqlalchemy import insert, select

from qc_app.records.building import Bay, Building, Panel
from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.shop import Person, Station
from qc_app.work.board import board
from qc_app.work.standing import place_item
from qc_app.work.state import state_of, states_of
from tests.conftest import NOW, stage

PANELS = 400
READINGS = 90
EVENTS = 100


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Database, int]]:
    """A building of roof panels in work: each with 90 readings, one in ten with an unclear one."""
    database = Database(str(tmp_path_factory.mktemp("large") / "qc.db"))
    database.migrate()
    cast = stage(database)
    with database.write() as session:
        like = session.get_one(Panel, cast.panel)
        building = Building(plant_id=like.building.plant_id, code="LARGE", name="Large house")
        plan, subject = like.control_plan, like.subject
        stations = {s.key: s.id for s in session.scalars(select(Station))}
        known = {
            c.key: c.id
            for c in session.scalars(
                select(Characteristic).where(
                    Characteristic.control_plan_id == plan.id, Characteristic.kind == like.kind
                )
            )
        }
        checks = [
            c for station in plan.plan.kind(like.kind).route for c in plan.plan.checks(subject, station)
        ]
        sizes = ("kind", "length", "width", "depth", "run", "position")
        panels = [
            Panel(
                building=building,
                control_plan=plan,
                mark=f"P-{n}",
                raising_sequence=n,
                bays=[Bay(number=b.number, width=b.width, depth=b.depth) for b in like.bays],
                **{name: getattr(like, name) for name in sizes},
            )
            for n in range(PANELS)
        ]
        session.add_all(panels)
        session.flush()
        readings, events = [], []
        for n, panel in enumerate(panels):
            reached = checks[: n % len(checks) + 1]
            for r in range(READINGS):
                check = reached[r % len(reached)]
                is_last = r >= READINGS - len(reached)
                verdict = "unclear" if is_last and r == READINGS - 1 and n % 10 == 0 else "within"
                readings.append(
                    {
                        "uuid": UUID(int=n * 1000 + r),
                        "panel_id": panel.id,
                        "characteristic_id": known[check.characteristic.key],
                        "station_id": stations[check.characteristic.station],
                        "person_id": cast.worker,
                        "place": check.place,
                        "entries": {"length": "1"},
                        "amount": 1,
                        "verdict": verdict,
                        "measured_at": NOW + timedelta(seconds=r),
                        "received_at": NOW,
                        "note": "",
                        "reason": "",
                    }
                )
            for e in range(EVENTS):
                chain = {"chain": f"large {n}", "number": e + 1, "previous_hash": "0" * 64, "hash": "0" * 64}
                events.append(
                    {**chain, "at": NOW, "panel_id": panel.id, "what": "reading recorded", "facts": {}}
                )
            if n % 8 == 0:
                session.add(
                    Nonconformity(
                        building=building,
                        number=n + 1,
                        panel=panel,
                        what="Torn.",
                        opened_at=NOW,
                        opened_by_id=cast.worker,
                    )
                )
        session.execute(insert(Reading), readings)
        session.execute(insert(Event), events)
        for panel in panels:
            place_item(session, panel)
        number = building.id
    yield database, number
    database.close()


def fastest(work: Callable[[], object], rounds: int = 7) -> float:
    """Least processor time of one call, in seconds: other work on the machine does not count."""
    times = []
    for _ in range(rounds):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)


@pytest.mark.bench
def test_states_of_a_building_and_of_one_panel(
    large: tuple[Database, int], capsys: pytest.CaptureFixture[str]
) -> None:
    database, number = large

    def of_building() -> None:
        with database.read() as session:
            states = states_of(session, session.get_one(Building, number), NOW)
            assert len(states) == PANELS

    def of_panel(offset: int) -> Callable[[], None]:
        def look() -> None:
            with database.read() as session:
                panels = select(Panel).where(Panel.building_id == number).order_by(Panel.id)
                panel = session.scalars(panels.offset(offset).limit(1)).one()
                assert state_of(session, panel, NOW).panel is panel

        return look

    def of_board() -> None:
        with database.read() as session:
            mira = session.scalars(select(Person).where(Person.sign_in_name == "mira")).one()
            assert len(board(session, mira, NOW).held) >= PANELS // 8

    whole, shown = fastest(of_building), fastest(of_board)
    one = max(fastest(of_panel(offset)) for offset in (0, 10, 30, PANELS - 1))
    with capsys.disabled():
        sys.stdout.write(
            f"\n{PANELS} panels of {EVENTS} events: states_of {whole * 1000:.0f} ms, state_of "
            f"{one * 1000:.1f} ms, board {shown * 1000:.0f} ms; in the whole, "
            f"{whole / PANELS / one:.3f} of state_of for each panel\n"
        )
