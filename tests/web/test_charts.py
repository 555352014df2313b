"""Charts: what they show, and freezing their limits."""

import json
from datetime import timedelta
from uuid import uuid4

import pytest
from sqlalchemy import select

from qc_app.records.chart import Phase, Stream
from qc_app.records.database import Database
from qc_app.work import find
from qc_app.work.record import NewReading, record
from qc_app.work.schedule import add_panel
from tests.conftest import NOW, Cast, floor_panel
from tests.web.conftest import Browser, SignedIn

# Sixteenths of an inch from target: twenty quiet panels, then one an inch short.
QUIET = (0, 1, -1, 0, 0, 1, 0, -1, 1, 0, -1, 0, 1, 0, 0, -1, 0, 1, -1, 0)


@pytest.fixture
def stream(sqlite_database: Database, shop: Cast) -> int:
    """The chart of edge AB with 21 points, one each hour."""
    with sqlite_database.write() as session:
        manager, worker = shop.person(session, "manager"), shop.person(session, "worker")
        building = find.building(session, manager, shop.building)
        tapes = tuple(find.instruments(session, worker, ("tape",)))
        for number, sixteenths in enumerate((*QUIET, -16), 1):
            panel = add_panel(session, manager, building, floor_panel(f"X-{number:02}", number), NOW)
            at = NOW + timedelta(hours=number)
            new = NewReading(
                uuid=uuid4(),
                item=panel,
                station=find.station(session, worker, "sheathing_fence"),
                characteristic="edge_length",
                place="AB",
                entries={"length": str(192 + sixteenths / 16)},
                measured_at=at,
                instruments=tapes,
            )
            record(session, worker, new, at)
        return session.scalars(select(Stream.id).where(Stream.place == "AB")).one()


FREEZE = {"first_day": "2026-03-02", "last_day": "2026-03-03", "reason": "Twenty quiet panels."}


def freeze(manager: Browser, stream: int) -> None:
    """Freezes limits although the inch in their base speaks against it."""
    page = manager.post(f"/chart/{stream}/limits", FREEZE, page=f"/chart/{stream}", status=200)
    assert "Look again before these limits are frozen" in page
    known = {**FREEZE, "despite": "2026-03-02 2026-03-03"}
    manager.post(f"/chart/{stream}/limits", known, page=f"/chart/{stream}")


def test_what_speaks_against_a_base_is_said_before_limits_are_frozen(
    signed_in: SignedIn, stream: int, sqlite_database: Database
) -> None:
    page = signed_in("manager").post(f"/chart/{stream}/limits", FREEZE, page=f"/chart/{stream}", status=200)
    assert "Points that signal: 1. Find out why before limits are set from them." in page
    assert "Twenty quiet panels." in page
    with sqlite_database.read() as session:
        assert session.scalars(select(Phase)).all() == []


def test_the_page_says_how_often_the_chart_signals_falsely(signed_in: SignedIn, stream: int) -> None:
    manager = signed_in("manager")
    freeze(manager, stream)
    # Four rules together: one point in 109 (Markov chain; checked against simulation in tests/spc).
    assert "falsely at about one point in 109" in manager.get(f"/chart/{stream}")


def test_without_frozen_limits_nothing_is_signalled_and_the_page_says_so(
    signed_in: SignedIn, stream: int
) -> None:
    page = signed_in("worker").get(f"/chart/{stream}")
    assert "21 points; no limits are frozen yet" in page
    assert "no limits frozen yet" in signed_in("lead").get("/chart")


def test_freezing_limits_finds_the_signal_and_keeps_the_reason(signed_in: SignedIn, stream: int) -> None:
    manager = signed_in("manager")
    freeze(manager, stream)
    page = manager.get(f"/chart/{stream}")
    assert "Twenty quiet panels." in page
    assert "21 points, 1 with a signal, the last at H1 X-21." in page
    assert "One point beyond a control limit" in page
    assert "1 point with a signal" in manager.get("/chart")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"reason": " "}, "nothing was entered"),
        ({"reason": ""}, "Say why; it stays with the limits."),
        ({"first_day": "2026-04-01", "last_day": "2026-04-02"}, "at least 20 points; this one has 0"),
        ({"first_day": "yesterday"}, "Not a valid date"),
    ],
)
def test_what_cannot_set_limits_is_named_and_nothing_is_frozen(
    signed_in: SignedIn, stream: int, sqlite_database: Database, change: dict[str, str], said: str
) -> None:
    page = signed_in("manager").post(
        f"/chart/{stream}/limits", {**FREEZE, **change}, page=f"/chart/{stream}", status=400
    )
    assert "There is a problem" in page
    assert said in page
    with sqlite_database.read() as session:
        assert session.scalars(select(Phase)).all() == []


def test_the_figure_holds_points_limits_and_signals(signed_in: SignedIn, stream: int) -> None:
    manager = signed_in("manager")
    freeze(manager, stream)
    figure = json.loads(manager.get(f"/chart/{stream}/figure.json"))
    by_name = {trace["name"]: trace for trace in figure["data"]}
    assert by_name["Reading"]["y"] == pytest.approx([s / 16 for s in (*QUIET, -16)])
    assert by_name["Signal"]["x"] == [21]
    assert by_name["Signal"]["marker"]["symbol"] != by_name["Reading"]["marker"].get("symbol")
    middle = by_name["centre line"]["y"][0]
    assert by_name["upper limit"]["y"][0] - middle == pytest.approx(middle - by_name["lower limit"]["y"][0])


def test_a_station_without_readings_says_so(signed_in: SignedIn, shop: Cast) -> None:
    assert "No readings that are charted" in signed_in("worker").get("/chart/station/fill")
