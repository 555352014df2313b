"""A schedule of panels as a file: looked at row by row, then taken.

The same file again changes nothing. A row that says something else of a panel than the log does, or than
another row, is bad: a file does not change what has been built.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from qc_app.measure.length import parse_length
from qc_app.plan.control_plan import ControlPlan, Kind
from qc_app.plan.penetration import Penetration, check_penetrations
from qc_app.plan.quantity import parse_count
from qc_app.plan.subject import Bay
from qc_app.records.building import Building, Panel
from qc_app.records.shop import Person
from qc_app.refusal import Refusal, shortened
from qc_app.work.roles import Act, require
from qc_app.work.schedule import NewPanel, add_building, add_panel
from qc_app.work.setup import plan_in_force
from qc_app.work.sheet import (
    CellRefused,
    Column,
    Examined,
    Row,
    Taken,
    check_columns,
    check_faults,
    examine_rows,
    in_column,
    normalised,
    rows_of,
)

SCHEDULE_COLUMNS = (
    Column("building", True, "Code of the building, 1 to 20 characters.", "H1"),
    Column("building_name", False, "Name of the building; used when its code is new.", "Fern Hollow House"),
    Column("mark", True, "Mark of the panel, 1 to 40 characters, once in a building.", "R-01"),
    Column("kind", True, "Kind of panel, by key or name in the control plan.", "closed_roof"),
    Column("length", True, "Nominal length. A number without a unit is inches.", "24'"),
    Column("width", True, "Nominal width.", "8'"),
    Column("depth", True, "Nominal depth of the members.", "11 1/4"),
    Column("bays", False, "Count of bays, 0 to 99; empty means none.", "12"),
    Column("bay_width", False, "Clear width of each bay; needed when there are bays.", "22 1/2"),
    Column("bay_depth", False, "Depth to fill in each bay; empty means the depth of the panel.", "11 1/4"),
    Column(
        "connectors",
        False,
        "Positions of site connectors from the datum edge, between semicolons.",
        "4'; 20'",
    ),
    Column(
        "penetrations",
        False,
        "Penetrations, between semicolons. Each: mark | face (outer, inner, both or edge) | size | sleeve, "
        "and if known, | along AB | across towards D, from corner A to its centre.",
        "P1 | outer | 4 in | pipe sleeve | 6' | 3'; E1 | edge | 1 in | conduit",
    ),
    Column("run", False, "Run the panel belongs to, at most 40 characters.", "South slope"),
    Column("position", False, "Place in its run, 1 or more; empty means 1.", "1"),
    Column("raising_sequence", True, "Place in the raising sequence of the building, 1 or more.", "1"),
)
"""What a schedule file holds. Other columns are passed over."""

MOST_BAYS = 99
MOST_CONNECTORS = 99


@dataclass(frozen=True)
class Scheduled:
    """A row that can be taken: the panel and its building, which may be new."""

    row: Row
    building: str
    building_name: str
    panel: NewPanel

    @property
    def key(self) -> tuple[str, str]:
        """What may be described once: a mark in a building, in capitals or not."""
        return self.building.lower(), self.panel.mark.lower()


@dataclass(frozen=True)
class ExaminedSchedule(Examined):
    """What taking a schedule would do."""

    good: tuple[Scheduled, ...]


def examine_schedule(
    session: Session, person: Person, name: str, content: bytes | Sequence[Row], now: datetime
) -> ExaminedSchedule:
    """Looks at a schedule file and changes nothing.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not import, or the file as a whole cannot be read.
    """
    require(person, Act.IMPORT)
    rows = rows_of(name, content)
    check_columns(name, rows, SCHEDULE_COLUMNS)
    plan = plan_in_force(session, person.plant, now).plan
    good, bad = examine_rows(
        name,
        rows,
        read=lambda row: _scheduled(row, plan),
        key_of=lambda scheduled: scheduled.key,
        stored_by=lambda keys: _stored_panels(session, person, {building for building, _ in keys}),
        agree=_check_agreement,
    )
    return ExaminedSchedule(name, tuple(good), len(rows) - len(good) - len(bad), tuple(bad))


def take_schedule(
    session: Session, person: Person, name: str, content: bytes | Sequence[Row], now: datetime
) -> Taken:
    """Adds the good rows of a schedule file, with the buildings they need.

    Raises
    ------
    NotAllowed, Refusal
        As ``examine_schedule``; then nothing is added.
    """
    examined = examine_schedule(session, person, name, content, now)
    buildings = _buildings(session, person)
    for scheduled in examined.good:
        code = scheduled.building.lower()
        if code not in buildings:
            buildings[code] = add_building(session, person, scheduled.building, scheduled.building_name, now)
        add_panel(session, person, buildings[code], scheduled.panel, now)
    return Taken(len(examined.good), examined.unchanged, examined.bad)


def _scheduled(row: Row, plan: ControlPlan) -> Scheduled:
    check_faults(row, SCHEDULE_COLUMNS)
    building = _name(row, "building", 20)
    length, width, depth = (_size(row, column) for column in ("length", "width", "depth"))
    panel = NewPanel(
        mark=_name(row, "mark", 40),
        kind=_kind(row, plan).key,
        length=length,
        width=width,
        depth=depth,
        run=_name(row, "run", 40, required=False),
        position=_place(row, "position") if row.text("position") else 1,
        raising_sequence=_place(row, "raising_sequence"),
        bays=tuple(_bays(row, max(length, width), depth)),
        connectors=tuple(_connectors(row, max(length, width))),
        penetrations=_penetrations(row, length, width),
    )
    return Scheduled(row, building, _name(row, "building_name", 120, required=False), panel)


def _name(row: Row, column: str, most: int, *, required: bool = True) -> str:
    text = row.text(column)
    if (required and not text) or len(text) > most or not text.isprintable():
        refusal = Refusal(
            "This needs {fewest} to {most} characters on one line. Given: “{given}”.",
            fewest=1 if required else 0,
            most=most,
            given=shortened(text),
        )
        raise CellRefused(column, refusal)
    return text


def _kind(row: Row, plan: ControlPlan) -> Kind:
    given = normalised(row.values["kind"])
    kind = next((k for k in plan.kinds if given in (normalised(k.key), normalised(k.name))), None)
    with in_column("kind"):
        if kind is None:
            raise Refusal(
                "The control plan has no kind of panel “{given}”. Known: {known}.",
                given=shortened(row.text("kind")),
                known=", ".join(k.key for k in plan.kinds if not k.is_lot),
            )
        if kind.is_lot:
            raise Refusal("“{given}” is a kind of lot, not of panel.", given=kind.name)
    return kind


def _size(row: Row, column: str) -> int:
    with in_column(column):
        size = parse_length(row.values.get(column, "")).nanometres
        if size <= 0:
            raise Refusal("This size must be above zero. Given: “{given}”.", given=row.text(column))
    return size


def _place(row: Row, column: str) -> int:
    with in_column(column):
        number = parse_count(row.values[column])
        if number == 0:
            raise Refusal("Counting begins at 1. Given: “{given}”.", given=row.text(column))
    return number


def _bays(row: Row, longest: int, panel_depth: int) -> Iterator[Bay]:
    with in_column("bays"):
        count = parse_count(row.text("bays") or "0")
        if count > MOST_BAYS:
            raise Refusal("A panel has at most {most} bays. Given: {given}.", most=MOST_BAYS, given=count)
    if count == 0:
        return
    width = _size(row, "bay_width")
    depth = _size(row, "bay_depth") if row.text("bay_depth") else panel_depth
    with in_column("bay_width"):
        if count * width > longest:
            raise Refusal(
                "{count} bays of this width are wider than the panel is long. Given: “{given}”.",
                count=count,
                given=row.text("bay_width"),
            )
    with in_column("bay_depth"):
        if depth > panel_depth:
            raise Refusal(
                "A bay cannot be deeper than its panel. Given: “{given}”.", given=row.text("bay_depth")
            )
    yield from (Bay(number, width, depth) for number in range(1, count + 1))


def _connectors(row: Row, longest: int) -> Iterator[int]:
    positions = [text for text in row.text("connectors").split(";") if text.strip()]
    with in_column("connectors"):
        if len(positions) > MOST_CONNECTORS:
            raise Refusal("A panel has at most {most} connectors.", most=MOST_CONNECTORS)
        for text in positions:
            position = parse_length(text).nanometres
            if position > longest:
                raise Refusal("A connector at {given} is not on the panel.", given=text.strip())
            yield position


def _penetrations(row: Row, length: int, width: int) -> tuple[Penetration, ...]:
    listed = [text for text in row.text("penetrations").split(";") if text.strip()]
    with in_column("penetrations"):
        penetrations = tuple(_penetration(text) for text in listed)
        check_penetrations(penetrations, length, width)
    return penetrations


def _penetration(text: str) -> Penetration:
    """One penetration as the column's description says it is written."""
    mark, *parts = (part.strip() for part in text.split("|"))
    if len(parts) not in (3, 5):
        raise Refusal(
            "A penetration is mark | face | size | sleeve, then | along | across if they are known. "
            "Given: “{given}”.",
            given=shortened(text.strip()),
        )
    face, size, sleeve, *centre = parts
    along, across = (parse_length(part).nanometres for part in centre) if centre else (None, None)
    return Penetration(mark, face.lower(), size, sleeve, along, across)


def _check_agreement(same_mark: Sequence[Scheduled], stored: NewPanel | None) -> None:
    """Refuses when rows, or the rows and the log, differ in what they say of one panel."""
    first = same_mark[0]
    differing = {d for scheduled in same_mark for d in _differences(first.panel, scheduled.panel)}
    if differing:
        refusal = Refusal(
            "Rows {rows} describe panel {mark} of building {building} with different {what}.",
            rows=", ".join(str(scheduled.row.number) for scheduled in same_mark),
            mark=first.panel.mark,
            building=first.building,
            what=", ".join(sorted(differing)),
        )
        raise CellRefused("mark", refusal)
    differing = _differences(first.panel, stored) if stored else set()
    if differing:
        refusal = Refusal(
            "Building {building} has a panel {mark} already, with different {what}.",
            building=first.building,
            mark=first.panel.mark,
            what=", ".join(sorted(differing)),
        )
        raise CellRefused("mark", refusal)


def _differences(one: NewPanel, other: NewPanel) -> set[str]:
    return {
        field.name.replace("_", " ")
        for field in fields(NewPanel)
        if field.name != "mark" and getattr(one, field.name) != getattr(other, field.name)
    }


def _buildings(session: Session, person: Person) -> dict[str, Building]:
    found = session.scalars(select(Building).where(Building.plant_id == person.plant_id))
    return {building.code.lower(): building for building in found}


def _stored_panels(session: Session, person: Person, codes: Iterable[str]) -> dict[tuple[str, str], NewPanel]:
    known = _buildings(session, person)
    wanted = {known[code].id: code for code in codes if code in known}
    panels = session.scalars(
        select(Panel)
        .where(Panel.building_id.in_(wanted))
        .options(selectinload(Panel.bays), selectinload(Panel.connectors), selectinload(Panel.penetrations))
    )
    return {(wanted[panel.building_id], panel.mark.lower()): _as_scheduled(panel) for panel in panels}


def _as_scheduled(panel: Panel) -> NewPanel:
    subject = panel.subject
    return NewPanel(
        mark=subject.mark,
        kind=subject.kind,
        length=subject.length,
        width=subject.width,
        depth=subject.depth,
        run=panel.run,
        position=panel.position,
        raising_sequence=panel.raising_sequence,
        bays=subject.bays,
        connectors=subject.connectors,
        penetrations=subject.penetrations,
    )
