"""What a control chart shows."""

from datetime import timedelta

import pytest

from qc_app.records.database import Database
from qc_app.refusal import Refusal
from qc_app.work import charts, find
from qc_app.work.charts import chart, overview, streams_at
from qc_app.work.streams import freeze_limits
from tests.conftest import Cast
from tests.work.conftest import Said
from tests.work.test_streams import FLOW_RATES, LATER, SIXTY_FOURTH, at, log, log_all, only_stream


def test_a_chart_shows_points_with_their_limits_and_signals(database: Database, cast: Cast) -> None:
    with database.write() as session:
        log(session, cast, 50, 510, -10)
        log_all(session, cast, FLOW_RATES)
        manager, stream = cast.person(session, "manager"), only_stream(session)
        phase = freeze_limits(session, manager, stream, (at(1), at(20)), "Steady.", LATER).id
        log(session, cast, 21, 570, 21)
        log(session, cast, 22, 440, 22)
    with database.read() as session:
        shown = chart(session, only_stream(session))
        assert [p.point.measured_at for p in shown.points] == [at(-10), *(at(k) for k in range(1, 23))]
        assert [p.point.deviation for p in shown.points[:2]] == [510 * SIXTY_FOURTH, 496 * SIXTY_FOURTH]
        assert {p.mark for p in shown.points} == {"LOT-1"}
        assert [p.phase and p.phase.id for p in shown.points] == [None, *[phase] * 22]
        assert [p.rules for p in shown.points[-2:]] == [("beyond_limit",), ("beyond_limit",)]
        assert [p.point.measured_at for p in shown.signalling] == [at(22), at(21)]
        assert shown.older == 0


def test_a_long_chart_shows_its_newest_points_and_counts_the_older(
    sqlite_database: Database, shop: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(charts, "POINTS_SHOWN", 10)
    with sqlite_database.write() as session:
        log_all(session, shop, list(range(25)))
        stream = only_stream(session)

        def places(until: int | None) -> tuple[list[int], int]:
            shown = chart(session, stream, at(until) if until else None)
            return [int(p.point.reading.place.split()[1]) for p in shown.points], shown.older

        assert places(None) == (list(range(16, 26)), 15)
        assert places(16) == (list(range(6, 16)), 5)
        assert places(6) == (list(range(1, 6)), 0)
        assert places(-5) == ([], 0)


def test_a_chart_shows_as_many_points_as_fit_on_a_screen() -> None:
    assert charts.POINTS_SHOWN == 250


def test_a_panels_point_carries_its_building_and_mark(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        Said().record(session, shop)
        assert [p.mark for p in chart(session, only_stream(session)).points] == ["H1 R-01"]


def test_the_overview_follows_the_line(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(place="DC").record(session, cast)
        Said(entries={"length": "24' 1"}).record(session, cast)
        log_all(session, cast, FLOW_RATES)
        manager = cast.person(session, "manager")
        framing = find.station(session, manager, "framing")
        (members,) = streams_at(session, framing)
        freeze_limits(session, manager, members, (at(1), at(20)), "Steady.", LATER)
        log(session, cast, 21, 570, 21)
        log(session, cast, 22, 570, 22)
        log(session, cast, 23, 510, 23)
    with database.read() as session:
        lines = overview(session, cast.person(session, "lead"))
        assert [
            (line.stream.name, line.points, line.has_limits, line.signals, line.last_signal_at)
            for line in lines
        ] == [
            ("Length of member", 23, True, 2, at(22)),
            ("Length of edge, AB", 1, False, 0, None),
            ("Length of edge, DC", 1, False, 0, None),
        ]
        assert lines[0].last_measured_at == at(23)


def test_a_stations_charts_are_listed_by_name(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        Said("squareness", "", {"ac": "303", "bd": "303"}).record(session, shop)
        Said().record(session, shop)
        worker = shop.person(session, "worker")
        fence = find.station(session, worker, "sheathing_fence")
        names = [stream.name for stream in streams_at(session, fence)]
        assert names == ["Difference of diagonals", "Length of edge, AB"]
        assert streams_at(session, find.station(session, worker, "fill")) == []


def test_another_plants_charts_are_not_found(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        Said(at=LATER - timedelta(days=1)).record(session, shop, LATER)
        stream, stranger = only_stream(session), shop.person(session, "stranger")
        assert find.stream(session, shop.person(session, "worker"), stream.id) is stream
        assert overview(session, stranger) == []
        with pytest.raises(Refusal, match="no such chart"):
            find.stream(session, stranger, stream.id)
