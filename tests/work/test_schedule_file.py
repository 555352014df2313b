"""Schedules as files: good rows, bad rows, and the same file twice."""

import csv
from collections.abc import Iterator
from io import BytesIO, StringIO

import pytest
from openpyxl import Workbook
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.penetration import Penetration
from qc_app.plan.subject import Bay
from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule_file import SCHEDULE_COLUMNS, ExaminedSchedule, examine_schedule, take_schedule
from qc_app.work.sheet import Taken, bad_rows_csv
from tests.conftest import NOW, Cast, feet, stage

HEADER = "building,mark,kind,length,width,depth,bays,bay_width,connectors,raising_sequence"
GOOD = "H2,R-07,closed_roof,27' 11 3/16\",8',11 1/4,12,22 1/2,4'; 20',3"


def schedule(*rows: str, header: str = HEADER) -> bytes:
    """A schedule file with these rows."""
    return "\r\n".join([header, *rows]).encode()


@pytest.fixture
def shop(sqlite_database: Database) -> Iterator[tuple[Session, Cast]]:
    """A session for looking at the shop on stage."""
    cast = stage(sqlite_database)
    with sqlite_database.read() as session:
        yield session, cast


def examined(shop: tuple[Session, Cast], content: bytes, name: str = "s.csv") -> ExaminedSchedule:
    session, cast = shop
    return examine_schedule(session, cast.person(session, "manager"), name, content, NOW)


def test_a_row_describes_a_panel(shop: tuple[Session, Cast]) -> None:
    (scheduled,) = examined(shop, schedule(GOOD)).good
    depth = parse_length("11 1/4").nanometres
    assert scheduled.building == "H2"
    # 27 ft 11 3/16 in = 335.1875 in, of 25.4 mm each (NIST SP 811, appendix B.8)
    assert scheduled.panel.length == 8_513_762_500
    assert scheduled.panel.bays == tuple(Bay(n, 571_500_000, depth) for n in range(1, 13))
    assert scheduled.panel.connectors == (feet(4), feet(20))
    assert (scheduled.panel.run, scheduled.panel.position, scheduled.panel.raising_sequence) == ("", 1, 3)


def test_metric_semicolons_names_of_kinds_and_foreign_columns_are_read(shop: tuple[Session, Cast]) -> None:
    content = schedule(
        "H2;W-1;Closed Wall Panel;6000 mm;2,7 m;240 mm;9;blue",
        header="Building;Mark;Kind;Length;Width;Depth;Raising-Sequence;Colour",
    )
    (scheduled,) = examined(shop, content).good
    assert scheduled.panel.kind == "closed_wall"
    assert scheduled.panel.width == 2_700_000_000


def test_a_workbook_reads_like_a_csv_file(shop: tuple[Session, Cast]) -> None:
    book = Workbook()
    book.worksheets[0].append(HEADER.split(","))
    book.worksheets[0].append(["H2", "R-07", "closed_roof", 335.1875, 96, 11.25, 12, 22.5, "4'; 20'", 3])
    file = BytesIO()
    book.save(file)
    (from_book,) = examined(shop, file.getvalue(), "s.xlsx").good
    (from_csv,) = examined(shop, schedule(GOOD)).good
    assert from_book.panel == from_csv.panel


def changed(**cells: str) -> str:
    """The good row with some cells changed."""
    values = dict(zip(HEADER.split(","), GOOD.split(","), strict=True)) | cells
    return ",".join(values.values())


BAD = [
    ("building", "", "1 to 20 characters"),
    ("building", "H" * 21, "1 to 20 characters"),
    ("mark", "", "1 to 40 characters"),
    ("mark", "M" * 41, "1 to 40 characters"),
    ("mark", '"R\n07"', "on one line"),
    ("kind", "roof of gold", "no kind of panel “roof of gold”"),
    ("kind", "precut_members", "kind of lot"),
    ("length", "", "No length was entered"),
    ("length", "twelve", "not a length"),
    ("length", "12 3", "two ways"),
    ("length", "0", "above zero"),
    ("length", "-8'", "has a sign"),
    ("length", "NaN", "not a length"),
    ("length", "Infinity", "not a length"),
    ("length", "1e3", "not a length"),
    ("length", "2000'", "longer than 1000 ft"),
    ("width", "9" * 3000, "too long"),
    ("depth", "=8+8", "has a sign"),
    ("depth", "=A1", "not a length"),
    ("bays", "-1", "whole number"),
    ("bays", "1.5", "whole number"),
    ("bays", "100", "at most 99"),
    ("bay_width", "", "No length was entered"),
    ("bay_width", "4'", "wider than the panel is long"),
    ("connectors", "4'; 30'", "not on the panel"),
    ("connectors", "4'; somewhere", "not a length"),
    ("connectors", ";".join(["1"] * 100), "at most 99 connectors"),
    ("raising_sequence", "", "whole number"),
    ("raising_sequence", "0", "begins at 1"),
]


@pytest.mark.parametrize(("column", "text", "reason"), BAD)
def test_a_bad_cell_is_reported_with_its_place_and_the_rest_is_taken(
    shop: tuple[Session, Cast], column: str, text: str, reason: str
) -> None:
    found = examined(shop, schedule(GOOD.replace("R-07", "R-08"), changed(**{column: text})))
    assert [scheduled.panel.mark for scheduled in found.good] == ["R-08"]
    (bad,) = found.bad
    assert (bad.file, bad.row, bad.column, bad.value) == ("s.csv", 3, column, text.strip('"'))
    assert reason in bad.reason


def test_bays_deeper_than_the_panel_are_refused(shop: tuple[Session, Cast]) -> None:
    (bad,) = examined(shop, schedule(GOOD + ",12", header=HEADER + ",bay_depth")).bad
    assert bad.column == "bay_depth"


def test_two_rows_that_differ_about_one_panel_are_both_bad(shop: tuple[Session, Cast]) -> None:
    found = examined(shop, schedule(GOOD, changed(mark="r-07", width="7'"), changed(mark="R-09")))
    assert [scheduled.panel.mark for scheduled in found.good] == ["R-09"]
    assert [bad.row for bad in found.bad] == [2, 3]
    assert "Rows 2, 3 describe panel R-07 of building H2 with different width." in found.bad[0].reason


def test_a_row_twice_counts_once(shop: tuple[Session, Cast]) -> None:
    found = examined(shop, schedule(GOOD, GOOD))
    assert (len(found.good), found.unchanged, found.bad) == (1, 1, ())


def test_a_row_that_contradicts_the_log_is_bad(shop: tuple[Session, Cast]) -> None:
    (bad,) = examined(shop, schedule(changed(building="h1", mark="r-01"))).bad
    assert "Building h1 has a panel r-01 already, with different length, raising sequence, run." in bad.reason


def test_a_formula_makes_its_row_bad(shop: tuple[Session, Cast]) -> None:
    book = Workbook()
    book.worksheets[0].append(HEADER.split(","))
    book.worksheets[0].append(["H2", "R-07", "closed_roof", "=300+35", 96, 11.25, 0, "", "", 3])
    file = BytesIO()
    book.save(file)
    (bad,) = examined(shop, file.getvalue(), "s.xlsx").bad
    assert (bad.column, bad.value) == ("length", "=300+35")
    assert "a formula" in bad.reason


def test_a_decimal_comma_among_commas_is_noticed(shop: tuple[Session, Cast]) -> None:
    (bad,) = examined(shop, schedule(changed(depth="11,25"))).bad
    assert "more cells than the header" in bad.reason


def test_missing_columns_are_named(shop: tuple[Session, Cast]) -> None:
    with pytest.raises(Refusal, match="lacks the column kind, length, width, depth, raising_sequence"):
        examined(shop, b"building,mark\r\nH2,R-07\r\n")


@pytest.mark.parametrize("who", ["worker", "lead"])
def test_only_quality_imports(sqlite_database: Database, who: str) -> None:
    cast = stage(sqlite_database)
    with sqlite_database.read() as session:
        person = cast.person(session, who)
        for act in (examine_schedule, take_schedule):
            with pytest.raises(NotAllowed):
                act(session, person, "s.csv", schedule(GOOD), NOW)


def _counts(session: Session) -> tuple[int | None, ...]:
    return tuple(
        session.scalar(select(func.count()).select_from(table)) for table in (Building, Panel, Event)
    )


def test_the_same_file_twice_changes_nothing(database: Database, cast: Cast) -> None:
    content = schedule(GOOD, changed(mark="R-08", length="junk"), changed(mark="R-09", building="H1"))
    with database.write() as session:
        taken = take_schedule(session, cast.person(session, "manager"), "s.csv", content, NOW)
        before = _counts(session)
    assert (taken.added, taken.unchanged, len(taken.bad)) == (2, 0, 1)
    with database.write() as session:
        manager = cast.person(session, "manager")
        again = take_schedule(session, manager, "s.csv", content, NOW)
        assert (again.added, again.unchanged, len(again.bad)) == (0, 2, 1)
        assert _counts(session) == before
        panel = find.panel_by_mark(session, find.building_by_code(session, manager, "H2"), "R-07")
        assert (panel.waiting_at, len(panel.bays), len(panel.connectors)) == ("framing", 12, 2)


def test_another_plant_may_have_the_same_building(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    content = schedule(changed(building="H1", mark="R-01"))
    with sqlite_database.write() as session:
        assert take_schedule(session, cast.person(session, "stranger"), "s.csv", content, NOW) == Taken(
            1, 0, ()
        )


def test_bad_rows_mended_in_their_own_file_are_taken(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    row = changed(mark="+R-08", length="junk")
    with sqlite_database.write() as session:
        manager = cast.person(session, "manager")
        bad = examine_schedule(session, manager, "s.csv", schedule(GOOD, row), NOW).bad
        report = bad_rows_csv(bad).decode("utf-8-sig")
        (line,) = csv.DictReader(StringIO(report))
        assert list(line) == [*HEADER.split(","), "row", "column", "reason"]
        assert (line["mark"], line["row"], line["column"]) == ("'+R-08", "3", "length")
        mended = report.replace("junk", "27'", 1).encode()
        assert take_schedule(session, manager, "bad-rows.csv", mended, NOW).added == 1
        building = find.building_by_code(session, manager, "H2")
        assert find.panel_by_mark(session, building, "+R-08").length == feet(27)


def test_the_examples_in_the_documentation_make_a_good_row(shop: tuple[Session, Cast]) -> None:
    names = ",".join(column.name for column in SCHEDULE_COLUMNS)
    values = ",".join(column.example for column in SCHEDULE_COLUMNS)
    found = examined(shop, schedule(values.replace("R-01", "R-77"), header=names))
    assert (len(found.good), found.bad) == (1, ())


# Penetrations

LISTED = "P1 | outer | 4 in | pipe sleeve | 6' | 3'; E1|Edge|1 in|"
WITH_PENETRATIONS = f"{HEADER},penetrations"


def listed(text: str) -> bytes:
    """A schedule of one panel with these penetrations."""
    return schedule(f'{GOOD},"{text}"', header=WITH_PENETRATIONS)


def test_penetrations_are_read_one_by_one(shop: tuple[Session, Cast]) -> None:
    (scheduled,) = examined(shop, listed(LISTED)).good
    assert scheduled.panel.penetrations == (
        Penetration("P1", "outer", "4 in", "pipe sleeve", feet(6), feet(3)),
        Penetration("E1", "edge", "1 in"),
    )


def test_penetrations_are_stored_and_the_same_file_changes_nothing(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    for added in (1, 0):
        with sqlite_database.write() as session:
            manager = cast.person(session, "manager")
            taken = take_schedule(session, manager, "s.csv", listed(LISTED), NOW)
        assert (taken.added, taken.unchanged, taken.bad) == (added, 1 - added, ())
    with sqlite_database.read() as session:
        panel = session.scalars(select(Panel).where(Panel.mark == "R-07")).one()
        assert [p.words for p in panel.subject.penetrations] == [
            ("outer face", "4 in", "pipe sleeve"),
            ("edge", "1 in"),
        ]


def test_other_penetrations_than_those_built_are_reported(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        take_schedule(session, cast.person(session, "manager"), "s.csv", listed(LISTED), NOW)
    with sqlite_database.read() as session:
        changed = LISTED.replace("4 in", "6 in")
        (bad,) = examine_schedule(session, cast.person(session, "manager"), "s.csv", listed(changed), NOW).bad
    assert bad.column == "mark"
    assert "has a panel R-07 already, with different penetrations" in bad.reason


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("P1", "A penetration is mark | face | size | sleeve"),
        ("P1 | outer | 4 in", "A penetration is mark | face | size | sleeve"),
        ("P1 | outer | 4 in | sleeve | 6'", "A penetration is mark | face | size | sleeve"),
        (" | outer | 4 in | sleeve", "The mark of a penetration has 1 to 20 characters"),
        ("P1 | top | 4 in | sleeve", "is one of: outer, inner, both, edge. Given: “top”"),
        ("P1 | outer | | sleeve", "The size of a penetration has 1 to 40 characters"),
        ("P1 | outer | 4 in | sleeve | far | 3'", "far"),
        ("P1 | outer | 4 in | sleeve | 40' | 3'", "The centre of penetration P1 is not on the panel"),
        ("P1 | outer | 4 in | sleeve | 6' | 9'", "The centre of penetration P1 is not on the panel"),
        ("P1|outer|4 in|; p1|inner|4 in|", "two penetrations marked “p1”"),
        (";".join(f"P{n}|outer|4 in|" for n in range(100)), "at most 99 penetrations"),
    ],
)
def test_a_bad_penetration_is_reported_with_its_column(
    shop: tuple[Session, Cast], text: str, said: str
) -> None:
    (bad,) = examined(shop, listed(text)).bad
    assert bad.column == "penetrations"
    assert said in bad.reason
