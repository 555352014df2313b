"""Charts kept as readings come: points, frozen limits and signals, in whatever order they arrive."""

import random
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID, uuid5

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.chart import Phase, Point, Signal, Stream
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.reading import Reading
from qc_app.refusal import Refusal
from qc_app.spc.patterns import find
from qc_app.work.record import record
from qc_app.work.roles import NotAllowed
from qc_app.work.streams import FEWEST_BASE_POINTS, freeze_limits, phase_of, points, signals
from tests.conftest import NOW, Cast
from tests.work.conftest import Said, check, member

SIXTY_FOURTH = 396_875
NAMES = UUID("7b6f0e3c-3a63-4b43-8a57-5f1a39c0d1aa")
LATER = NOW + timedelta(days=30)

# NIST/SEMATECH e-Handbook 6.3.2.2, flow rates of ten batches: mean 50.81, mean moving range 1.8778, limits
# 45.8159 and 55.8041 with d2 rounded to 1.128. In tenths, and twice over for a base of twenty points: the
# ranges are those nine twice and the step between, 2.5; (2 · 16.9 + 2.5) / 19 = 1.9105.
FLOW_RATES = [496, 476, 499, 513, 478, 512, 526, 524, 536, 521] * 2


def at(minute: int) -> datetime:
    return NOW + timedelta(minutes=minute)


def log(session: Session, cast: Cast, number: int, sixty_fourths: int, minute: int) -> None:
    """A member's length as read at a minute; the same three numbers give the same reading."""
    uuid = uuid5(NAMES, f"{number} {sixty_fourths} {minute}")
    member(number, sixty_fourths, at(minute), uuid).record(session, cast, LATER)


def log_all(session: Session, cast: Cast, deviations: list[int], first: int = 1) -> None:
    for number, deviation in enumerate(deviations, first):
        log(session, cast, number, deviation, number)


def only_stream(session: Session) -> Stream:
    return session.scalars(select(Stream)).one()


def freeze(session: Session, cast: Cast, first: int, last: int, who: str = "manager") -> Phase:
    person, base = cast.person(session, who), (at(first), at(last))
    return freeze_limits(
        session, person, only_stream(session), base, "Steady after the new blade.", LATER, despite=True
    )


def signalling(session: Session) -> set[tuple[str, str]]:
    """Place and rule of each signal stored."""
    return {(s.point.reading.place, s.rule) for s in signals(session, only_stream(session))}


def worked_out(session: Session) -> set[tuple[str, str]]:
    """Place and rule of each signal that all points together make, phase by phase."""
    stream, listed = only_stream(session), points(session, only_stream(session))
    wanted = set()
    for phase in stream.phases:
        held = [p for p in listed if phase_of(stream.phases, p) is phase]
        for rule, indexes in (
            find([p.deviation for p in held], phase.centre, phase.sigma, phase.rules).items() if held else ()
        ):
            wanted |= {(held[i].reading.place, rule) for i in indexes}
    return wanted


def test_each_place_that_is_a_process_has_a_chart(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        Said().record(session, shop)
        Said(place="DC", entries={"length": "24' 0 1/16"}).record(session, shop)
        for bay in (2, 7):
            entries = {"mass": "60 g", "depth": "11"}
            Said(
                "core_density",
                f"bay {bay}",
                entries,
                station="fill",
                instruments=("core_cutter", "scale"),
            ).record(session, shop)
        check("framing_check", "framing").record(session, shop)
    with sqlite_database.read() as session:
        found = {s.name: [p.deviation for p in points(session, s)] for s in session.scalars(select(Stream))}
        assert set(found) == {"Length of edge, AB", "Length of edge, DC", "Core-sample density"}
        assert found["Length of edge, DC"] == [4 * SIXTY_FOURTH]
        assert len(found["Core-sample density"]) == 2


def test_limits_are_those_of_individual_values(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        phase = freeze(session, shop, 1, 20)
        assert phase.points == 20
        assert phase.centre / SIXTY_FOURTH == pytest.approx(508.1)
        assert phase.sigma / SIXTY_FOURTH == pytest.approx(19.105 / 1.128, rel=4e-4)
        assert phase.upper - phase.centre == phase.centre - phase.lower == 3 * phase.sigma
    with sqlite_database.read() as session:
        phase = session.scalars(select(Phase)).one()
        assert (phase.begins_at, phase.base_ends_at, phase.frozen_at) == (at(1), at(20), LATER)
        assert (phase.person_id, phase.reason) == (shop.manager, "Steady after the new blade.")
        event = session.scalars(select(Event).where(Event.what == "control limits frozen")).one()
        assert event.facts == {
            "chart": "Length of member",
            "station": "framing",
            "begins_at": at(1).isoformat(),
            "base_ends_at": at(20).isoformat(),
            "points": 20,
            "centre": repr(phase.centre),
            "sigma": repr(phase.sigma),
            "reason": "Steady after the new blade.",
            "rules": ["beyond_limit", "run_one_side", "two_of_three_outer", "four_of_five_outer"],
            "reservations": [],
        }


def test_the_base_period_includes_both_its_ends(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, [*FLOW_RATES, 900, 900])
        assert freeze(session, shop, 1, 21).points == 21


def test_too_few_points_are_refused(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        with pytest.raises(Refusal, match="needs at least 20 points; this one has 19"):
            freeze(session, shop, 1, FEWEST_BASE_POINTS - 1)
        with pytest.raises(Refusal, match="this one has 0"):
            freeze(session, shop, 20, 1)
        assert session.scalars(select(Phase)).all() == []


def test_limits_need_a_reason(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        manager, base = shop.person(session, "manager"), (at(1), at(20))
        with pytest.raises(Refusal, match="Say why"):
            freeze_limits(session, manager, only_stream(session), base, " \n", LATER)


@pytest.mark.parametrize("who", ["worker", "lead"])
def test_only_the_quality_manager_freezes_limits(sqlite_database: Database, shop: Cast, who: str) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        with pytest.raises(NotAllowed, match="may not freeze control limits"):
            freeze(session, shop, 1, 20, who)


def test_a_stranger_freezes_nothing_here(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        with pytest.raises(Refusal, match="another plant"):
            freeze(session, shop, 1, 20, "stranger")


def test_two_phases_cannot_begin_at_the_same_time(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, [*FLOW_RATES, 510])
        freeze(session, shop, 1, 20)
        with pytest.raises(Refusal, match="begin at this time are frozen already"):
            freeze(session, shop, 1, 21)


def test_points_that_do_not_vary_give_no_limits(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, [3] * 20)
        with pytest.raises(Refusal) as refused:
            freeze(session, shop, 1, 20)
        assert str(refused.value).endswith(".")
        assert session.scalars(select(Phase)).all() == []


def test_a_signal_is_stored_when_the_point_that_completes_it_is_recorded(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        log_all(session, cast, FLOW_RATES)
        phase = freeze(session, cast, 1, 20)
        assert signalling(session) == set()
        log(session, cast, 21, 508 + 52, 21)  # 3 sigma is 50.8
        signal = session.scalars(select(Signal).where(Signal.rule == "beyond_limit")).one()
        assert (signal.phase_id, signal.found_at) == (phase.id, LATER)
        assert signal.point.reading.place == "member 21"


def test_freezing_limits_finds_the_signals_there_have_been(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, [*FLOW_RATES, 900])
        assert signalling(session) == set()
        freeze(session, shop, 1, 20)
        assert ("member 21", "beyond_limit") in signalling(session)


def test_limits_do_not_change_when_later_or_late_points_arrive(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        phase = freeze(session, shop, 1, 20)
        frozen = phase.centre, phase.sigma, phase.points
        log(session, shop, 21, 900, 21)
        log(session, shop, 22, 100, 5)  # inside the base period
        session.refresh(phase)
        assert (phase.centre, phase.sigma, phase.points) == frozen
        assert ("member 22", "beyond_limit") in signalling(session)


def test_no_run_crosses_the_start_of_a_phase(sqlite_database: Database, shop: Cast) -> None:
    # Low by two 64ths against the base of either phase: 8 points before its start and 8 after it make no
    # run of nine on one side, though 16 in a row lie below.
    base = [-4, 4] * 10
    with sqlite_database.write() as session:
        log_all(session, shop, base)
        log_all(session, shop, [-1, -2] * 4, first=21)
        log_all(session, shop, [-1, -2] * 4, first=29)
        log_all(session, shop, base[1:13], first=37)
        freeze(session, shop, 1, 20)
        one_phase = signalling(session)
        assert {f"member {n}" for n in range(30, 37)} <= {
            p for p, rule in one_phase if rule == "run_one_side"
        }
        freeze(session, shop, 29, 48)
        two_phases = signalling(session)
        assert [place for place, rule in two_phases if rule == "run_one_side"] == []
        assert two_phases == worked_out(session)


def test_an_earlier_phase_may_be_frozen_after_a_later_one(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log_all(session, shop, FLOW_RATES)
        log_all(session, shop, [value + 200 for value in FLOW_RATES], first=21)
        later = freeze(session, shop, 21, 40)
        earlier = freeze(session, shop, 1, 20)
        stream = only_stream(session)
        assert stream.phases == [earlier, later]
        assert signalling(session) == worked_out(session) == set()
        log(session, shop, 41, 508, 41)
        assert ("member 41", "beyond_limit") in signalling(session)


def test_measuring_again_says_nothing_new_about_the_process(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        log(session, shop, 1, 9, 10)
        log(session, shop, 1, 0, 20)
        assert [p.deviation for p in points(session, only_stream(session))] == [9 * SIXTY_FOURTH]


def test_a_first_reading_that_arrives_late_takes_the_place_of_the_second(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        log_all(session, cast, FLOW_RATES)
        freeze(session, cast, 1, 20)
        log(session, cast, 21, 900, 30)
        log(session, cast, 22, 510, 31)
        assert ("member 21", "beyond_limit") in signalling(session)
        log(session, cast, 21, 505, 25)
        assert signalling(session) == worked_out(session)
        assert ("member 21", "beyond_limit") not in signalling(session)
        newest = points(session, only_stream(session))[-2]
        assert (newest.reading.place, newest.measured_at) == ("member 21", at(25))
        assert len(points(session, only_stream(session))) == 22


def drifting(seed: int) -> list[tuple[int, int, int]]:
    """Member, deviation and minute of 58 readings after the two bases: drifts, jumps, and some read twice."""
    chance = random.Random(seed)  # noqa: S311
    level, read = 0.0, []
    minutes = chance.sample(range(45, 400), 58)
    for number, minute in enumerate(sorted(minutes[:44]), 51):
        level = chance.choice([level, level + 2, level - 3, 0, 12 * (-1) ** number])
        read.append((number, round(level + chance.gauss(0, 3)), minute))
    again = [(51 + chance.randrange(44), chance.randrange(-14, 14), minute) for minute in minutes[44:]]
    return read + again


def correct(session: Session, cast: Cast, number: int, minute: int, sixty_fourths: int) -> None:
    """Corrects the newest version of what was read of a member at a minute."""
    versions = session.scalars(
        select(Reading)
        .where(Reading.place == f"member {number}", Reading.measured_at == at(minute))
        .order_by(Reading.id.desc())
    )
    wrong = versions.first()
    assert wrong is not None
    right = member(number, sixty_fourths, LATER).new(session, cast)
    right = replace(right, supersedes=wrong.uuid, reason="Misread the tape.")
    record(session, cast.person(session, "worker"), right, LATER)


@pytest.mark.parametrize("seed", range(2))
def test_a_correction_takes_the_place_of_what_it_corrects_in_whatever_order_all_arrive(
    sqlite_database: Database, shop: Cast, seed: int
) -> None:
    chance, read = random.Random(seed), drifting(seed)  # noqa: S311
    chance.shuffle(read)
    true = {(number, minute): k for number, k, minute in read}
    with sqlite_database.write() as session:
        for number in range(1, 26):
            log(session, shop, number, chance.randrange(-6, 7), number)
        freeze(session, shop, 1, 25)
        for done, (number, deviation, minute) in enumerate(read):
            log(session, shop, number, deviation, minute)
            if done % 3 == 0:
                wrong = chance.choice(
                    [key for key in true if key in {(n, m) for n, _, m in read[: done + 1]}]
                )
                true[wrong] = chance.randrange(-20, 21)
                correct(session, shop, *wrong, true[wrong])
            if done % 9 == 0:
                assert signalling(session) == worked_out(session)
        first = dict(sorted(true, key=lambda key: -key[1]))
        expected = sorted((m, f"member {n}", true[n, m] * SIXTY_FOURTH) for n, m in first.items())
        arrived = [
            (round((p.measured_at - NOW).total_seconds() / 60), p.reading.place, p.deviation)
            for p in points(session, only_stream(session))
            if int(p.reading.place.split()[1]) > 50
        ]
        assert arrived == expected
        assert signalling(session) == worked_out(session) != set()


@pytest.mark.parametrize("seed", range(4))
def test_readings_in_any_order_give_the_same_points_and_signals(
    sqlite_database: Database, shop: Cast, seed: int
) -> None:
    chance, read = random.Random(seed), drifting(seed)  # noqa: S311
    base = [chance.randrange(-6, 7) for _ in range(50)]
    first_of = {number: (minute, k) for number, k, minute in sorted(read, key=lambda r: -r[2])}
    expected = sorted((minute, f"member {n}", k * SIXTY_FOURTH) for n, (minute, k) in first_of.items())
    chance.shuffle(read)
    with sqlite_database.write() as session:
        for number, deviation in enumerate(base, 1):
            log(session, shop, number, deviation, number if number <= 25 else 200 + number)
        freeze(session, shop, 1, 25)
        freeze(session, shop, 226, 250)
        for done, (number, deviation, minute) in enumerate(read):
            log(session, shop, number, deviation, minute)
            if done % 9 == 0:
                assert signalling(session) == worked_out(session)
        listed = points(session, only_stream(session))
        arrived = [
            (round((p.measured_at - NOW).total_seconds() / 60), p.reading.place, p.deviation)
            for p in listed
            if int(p.reading.place.split()[1]) > 50
        ]
        assert arrived == expected
        assert signalling(session) == worked_out(session)
        assert {rule for _, rule in signalling(session)} >= {"beyond_limit", "two_of_three_outer"}
        kept = {(s.point_id, s.phase_id) for s in signals(session, only_stream(session))}
        assert all(
            phase_id
            == (phase_of(only_stream(session).phases, session.get_one(Point, point_id)) or Phase()).id
            for point_id, phase_id in kept
        )


def test_a_point_belongs_to_the_last_phase_begun(sqlite_database: Database, shop: Cast) -> None:
    phases = [Phase(begins_at=at(10)), Phase(begins_at=at(20))]
    assert phase_of(phases, Point(measured_at=at(9))) is None
    assert phase_of(phases, Point(measured_at=at(10))) is phases[0]
    assert phase_of(phases, Point(measured_at=at(20))) is phases[1]
    assert phase_of([], Point(measured_at=at(9))) is None
