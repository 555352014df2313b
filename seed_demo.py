"""Builds the demo: an invented shop, three buildings, twelve weeks of readings, and five planted faults.

    python seed_demo.py [folder]

writes into the folder (``demo`` unless named): the database ``qc.db``, the list of planted faults
``planted-faults.json``, and two files to import, ``schedule.csv`` and ``readings.xlsx``, each with one row
that cannot be read. The shop, its people and its buildings do not exist. Everything comes from one seeded
random generator, so that running it again gives the same database and the same files. The twelve weeks end
at midday: the first building is being set, its roof is going onto a truck, and the third building is
unfinished, so that panels wait at every station.
"""

import csv
import gc
import heapq
import itertools
import json
import math
import random
import sys
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from io import BytesIO
from pathlib import Path
from uuid import UUID
from zoneinfo import ZoneInfo

from openpyxl import Workbook
from openpyxl.xml.functions import tostring
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.measure.length import Length, format_length, parse_length
from qc_app.plan.characteristic import PutRight
from qc_app.plan.control_plan import Check
from qc_app.plan.penetration import Penetration
from qc_app.plan.place_marks import PlaceMark, format_place_marks
from qc_app.plan.quantity import Quantity, parse_amount
from qc_app.plan.subject import Bay
from qc_app.records.building import Building, Panel
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Person, Station
from qc_app.work import hold, loads, materials, nonconformity, notices, release
from qc_app.work.hold import place_hold
from qc_app.work.instrument_checks import SHIFT, check
from qc_app.work.instruments import Details, add_instrument
from qc_app.work.people import add_person, password_hasher
from qc_app.work.record import NewReading, record
from qc_app.work.roles import Role
from qc_app.work.schedule import NewPanel, add_building, add_panel, book_in_lot
from qc_app.work.setup import set_up
from qc_app.work.standing import Item
from qc_app.work.state import LOADED, SET
from qc_app.work.streams import freeze_limits, points

SEED = 20260302
PASSWORD = "plumb level square"  # noqa: S105 - the demo's sign-ins are printed for everybody
PIN = "4096"
SALT = b"plumb and larch."
ZONE = ZoneInfo("America/New_York")
FIRST_DAY = date(2026, 3, 2)
WORKING_DAYS = 60
END_HOUR = 12.0
WRITTEN = (2026, 6, 1)
PANELS_A_DAY = 2
DENOMINATOR = 32
BASE_POINTS = 24

PEOPLE = (
    ("Mira Quill", "mira", Role.QUALITY_MANAGER),
    ("Otto Lind", "otto", Role.LEAD),
    ("Wren Abbey", "wren", Role.WORKER),
    ("Ike Solano", "ike", Role.WORKER),
    ("Juno Park", "juno", Role.WORKER),
)
OTHERS = (
    ("Ada Byrd", "ada", Role.ADMINISTRATOR, ""),
    ("Sol Marsh", "sol", Role.SITE_LEAD, "H1"),
    ("Cleo Fenn", "cleo", Role.CUSTOMER, "H1"),
)
"""People who record nothing and so have no PIN, with the code of the building they see."""
LANGUAGES = {"juno": "es"}
BUILDINGS = (("H1", "Fern Hollow House"), ("H2", "Millpond Cottage"), ("H3", "Kestrel Row, unit 3"))

# Stations: days after framing and hour of the day at which a panel comes, who works there, which lots go in.
STATIONS = {
    "framing": (0, 7.5, "wren", "studs"),
    "sheathing_fence": (0, 11.0, "wren", "sheathing"),
    "services": (1, 8.0, "ike", ""),
    "fill": (2, 9.0, "ike", "cellulose"),
    "air_seal": (3, 8.5, "juno", "tape sealant"),
    "final": (4, 13.0, "juno", ""),
}

# What goes through closed panels: mark, face, size, sleeve. A panel has the first few of its kind.
PENETRATIONS = {
    "closed_wall": (
        ("E1", "inner", "1 in", "conduit sleeve"),
        ("W1", "both", "1 1/4 in", "pipe sleeve"),
        ("V1", "outer", "4 in", "duct sleeve"),
    ),
    "closed_roof": (
        ("V1", "both", "3 in", "pipe sleeve"),
        ("E1", "inner", "1 in", "conduit sleeve"),
        ("V2", "both", "6 in", "duct sleeve"),
    ),
}
# Name, kind, reference at the start of a shift, what it reads there, and its papers.
INSTRUMENTS = """
Tape 4 | tape | 10' | 10' | Tape certificate 26-0114
Tape 7 | tape | 10' | 9' 11 63/64" | Tape certificate 26-0115
Bench scale | scale | 200 g | 200.1 g | Weights 2
Cutter 1 | core_cutter | 2 1/2" | 2 1/2" | Caliper 1
Pin meter 2 | moisture_meter | 12 % | 12.4 % | Check block 12 %
"""
READ_IN = {"scale": Quantity.MASS, "moisture_meter": Quantity.MOISTURE}
BENT = ("Tape 7", 58, "9' 11 13/16\"")
"""What fails its check at last, on which working day, and what it reads."""

# Lots of material: working day of arrival, mark, material, supplier, moisture of studs.
LOTS = """
0 | B-101 | sheathing | Tansy Board Mill |
0 | C-077 | cellulose | Owlbrook Fibre |
0 | T-012 | tape | Sedge & Sons Sealing |
0 | A-005 | sealant | Sedge & Sons Sealing |
0 | L-031 | studs | Hob's Wood Timber | 14.2 %
45 | L-032 | studs | Hob's Wood Timber | 20.5 %
50 | B-102 | sheathing | Tansy Board Mill |
50 | C-078 | cellulose | Owlbrook Fibre |
51 | L-033 | studs | Hob's Wood Timber | 13.6 %
"""
FIRST_WITH_LOTS = 82
"""The number of the first panel whose lots were written down: the third building's."""

# What no check asks for: working day, hour, who saw it, panel, where on the drawing, what.
SEEN = """
43 | 10 | juno | H2 W-05 | 940,880 | A fork went through the sheathing beside corner C.
57 | 13 | wren | H3 W-14 | 500,30 | Came down hard when it was turned: sole plate split. Nobody was near.
59 | 9.3 | otto | H1 R-03 | 710,500 | The tag of pick point 3 is missing.
59 | 10.5 | ike | H3 R-02 | 170,380 | The sleeve of E1 is cracked at the inner face.
"""
# What is decided an hour after something was found: who decides what and why, and who agreed to it.
DECIDED = {
    "H2 W-05": ("otto", "repair", "A patch from member to member, glued, nailed and taped."),
    "H3 W-14": ("mira", "scrap", "The plate carries the site connectors; no splice is drawn."),
    "H1 W-07": ("mira", "accept", "The plate takes up 3/32 in; racking tears the nailing.", "Cleo Fenn"),
    "moisture": ("otto", "rework", "Dried beside the heater, then measured again before it is closed."),
    "density": ("otto", "rework", "Blown again through its own hole when the panel is full."),
}
REMARKS = {"H1 W-07": "Plate shimmed 3/32 in at corner B, as agreed."}
SETTINGS = {"closed_wall": "gate 4, air 7", "closed_roof": "gate 5, air 7"}
POUNDS_A_SECOND = 0.55


@dataclass
class Fault:
    """A planted fault: what it is, which charts of its station should show it, and on which panels or lots.

    ``shown_too`` names a second characteristic that the same fault shows in; the first finds it by itself.
    """

    what: str
    station: str
    characteristic: str
    place: str
    shown_too: str = ""
    marks: list[str] = field(default_factory=list)


def planted_faults() -> dict[str, Fault]:
    """The faults, by name, with no panels named yet."""
    return {
        "fence shift": Fault("The fence slips; every panel leans", "sheathing_fence", "squareness", ""),
        "misread tape": Fault("A tape misread by an inch", "sheathing_fence", "edge_length", "AB"),
        "thin bay": Fault("A bay filled thin", "fill", "core_density", "", "bay_fill"),
        "worn machine": Fault(
            "The blower wears; density drifts down", "fill", "core_density", "", "bay_fill"
        ),
        "damp studs": Fault("A batch of damp studs", "services", "wood_moisture", "stud"),
    }


Deed = Callable[[datetime], object]
"""Something done in the shop at a time."""


@dataclass
class Shop:
    """What the demo needs at hand while it runs."""

    session: Session
    chance: random.Random
    people: dict[str, Person]
    stations: dict[str, Station]
    instruments: dict[str, Instrument]
    """By name."""
    panels: dict[str, Panel] = field(default_factory=dict)
    """By building and mark."""
    framing_tape: str = "Tape 7"
    aside: random.Random = field(default_factory=partial(random.Random, f"{SEED} aside"))
    """Chance for all but the planned readings, so that these stay the same whatever else happens."""
    agenda: list[tuple[datetime, int, Deed]] = field(default_factory=list)
    """What is still to be done, as a heap; the number orders what happens at one moment."""
    faults: dict[str, Fault] = field(default_factory=planted_faults)
    filled: dict[int, int] = field(default_factory=dict)
    """Which panel was filled as which, counting from 1."""
    densities: dict[tuple[int, int, bool], float] = field(default_factory=dict)
    lying: dict[tuple[int, bool], dict[str, float]] = field(default_factory=dict)
    serials: Iterator[int] = field(default_factory=itertools.count)

    def uuid(self, chance: random.Random) -> UUID:
        return UUID(int=chance.getrandbits(128), version=4)

    def then(self, at: datetime, deed: Deed, serial: int | None = None) -> None:
        """Has something done at a time."""
        heapq.heappush(self.agenda, (at, next(self.serials) if serial is None else serial, deed))

    def on(self, day: int, hour: float, deed: Deed) -> None:
        """Has something done at an hour of a working day, counting from 0."""
        self.then(local(working_day(day), hour), deed)


@dataclass(frozen=True)
class Visit:
    """One item at one station at one time; ``number`` counts panels through the shop from 0."""

    at: datetime
    station: str
    item: Item
    number: int


@dataclass(frozen=True)
class Task:
    """One reading to take at a visit; ``again`` when after putting right."""

    visit: Visit
    check: Check
    serial: int
    again: bool = False


def main(arguments: list[str]) -> None:
    folder = Path(arguments[0] if arguments else "demo")
    faults = build(folder)
    print(f"The demo is in {folder}: {len(faults)} planted faults, two files to import.")
    print(f"Sign in as any of these, password “{PASSWORD}”, or PIN {PIN} on a tablet of the shop:")
    for name, sign_in_name, role in PEOPLE:
        print(f"  {sign_in_name:6} {name}, {role.replace('_', ' ')}")
    for name, sign_in_name, role, code in OTHERS:
        print(f"  {sign_in_name:6} {name}, {role.replace('_', ' ')}{f' of {code}' if code else ''} (no PIN)")


def build(folder: Path) -> list[Fault]:
    """Builds everything into a folder, in place of an earlier demo there."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("qc.db*"):
        old.unlink()
    database = Database(str(folder / "qc.db"))
    database.migrate()
    gc.disable()  # all rows are held to the end, so that looking for garbage costs a fifth of the time
    with database.write() as session:
        shop = open_shop(session)
        for visit in schedule(shop):
            plan_readings(shop, visit)
        admit_others(shop)
        tell_story(shop)
        run(shop)
    gc.enable()
    database.close()
    faults = list(shop.faults.values())
    text = json.dumps([asdict(fault) for fault in faults], indent=2)
    (folder / "planted-faults.json").write_text(text + "\n", "utf-8")
    write_schedule(folder / "schedule.csv")
    write_readings(folder / "readings.xlsx")
    return faults


def open_shop(session: Session) -> Shop:
    """The plant, its people, its instruments."""
    opened = local(FIRST_DAY - timedelta(days=3), 9)
    name, sign_in_name, _ = PEOPLE[0]
    manager = set_up(
        session,
        plant_name="Plumb & Larch Panel Works",
        system="imperial",
        denominator=DENOMINATOR,
        time_zone=str(ZONE),
        manager_name=name,
        sign_in_name=sign_in_name,
        password=PASSWORD,
        now=opened,
    )
    people = {sign_in_name: manager}
    for name, sign_in_name, role in PEOPLE[1:]:
        people[sign_in_name] = add_person(session, manager, name, sign_in_name, role, PASSWORD, opened)
    pin_hash = password_hasher().hash(PIN, salt=SALT)
    for person in people.values():
        person.pin_hash, person.language = pin_hash, LANGUAGES.get(person.sign_in_name)
    instruments = {}
    for name, kind, reference, _, papers in rows(INSTRUMENTS):
        bore, details = (
            parse_length(reference) if kind == "core_cutter" else None,
            Details(certificate=papers),
        )
        instruments[name] = add_instrument(session, manager, kind, name, bore, opened, details)
    stations = {station.key: station for station in session.scalars(select(Station))}
    return Shop(session, random.Random(SEED), people, stations, instruments)


def admit_others(shop: Shop) -> None:
    """Those who come to the log once there are buildings."""
    manager, then = shop.people["mira"], local(FIRST_DAY - timedelta(days=1), 16)
    buildings = {building.code: building for building in shop.session.scalars(select(Building))}
    for name, sign_in_name, role, code in OTHERS:
        building = buildings.get(code)
        shop.people[sign_in_name] = add_person(
            shop.session, manager, name, sign_in_name, role, PASSWORD, then, building
        )
    # One hash serves all, and with this salt it is the same each time.
    password_hash = password_hasher().hash(PASSWORD, salt=SALT)
    for person in shop.people.values():
        person.password_hash = password_hash


def schedule(shop: Shop) -> list[Visit]:
    """All panels and lots with the times they pass the stations, in order."""
    manager, opened = shop.people["mira"], local(FIRST_DAY - timedelta(days=1), 15)
    visits: list[Visit] = []
    number = 0
    for code, name in BUILDINGS:
        building = add_building(shop.session, manager, code, name, opened)
        for new in panels_of_a_house():
            panel = add_panel(shop.session, manager, building, new, opened)
            shop.panels[name_of(panel)] = panel
            visits += passage(shop, panel, number)
            number += 1
    for week in range(12):
        visits.append(delivery(shop, week))
    return sorted(visits, key=lambda visit: visit.at)


def panels_of_a_house() -> Iterator[NewPanel]:
    """Forty-one panels and loose assemblies in raising order: decks and floors first, roof last."""
    rows = (
        ("open_floor", "F", "First floor", 8, "16'", "8'", "11 7/8", False),
        ("closed_wall", "W", "Walls", 14, "16'", "9'", "7 1/4", True),
        ("partition", "P", "Partitions", 4, "10'", "8'", "3 1/2", False),
        ("stairs", "S", "Stairs", 1, "11' 6\"", "3'", "10", False),
        ("closed_roof", "R", "Roof", 12, "24'", "8'", "11 1/4", True),
        ("rafter_set", "T", "Porch", 1, "12'", "8'", "7 1/4", False),
        ("deck", "D", "Porch", 1, "12'", "8'", "9 1/4", False),
    )
    sequence = 0
    for kind, letter, run_name, count, *sizes, is_closed in rows:
        length, width, depth = (nanometres(text) for text in sizes)
        for position in range(1, count + 1):
            sequence += 1
            yield NewPanel(
                mark=f"{letter}-{position:02}",
                kind=kind,
                length=length,
                width=width,
                depth=depth,
                run=run_name,
                position=position,
                raising_sequence=sequence,
                bays=bays_of(length, depth) if is_closed else (),
                connectors=(nanometres("4'"), length - nanometres("4'")) if is_closed else (),
                penetrations=tuple(penetrations_of(kind, position)),
            )


def bays_of(length: int, depth: int) -> tuple[Bay, ...]:
    """Bays at 24 in, with 22 1/2 in clear between members."""
    return tuple(Bay(n, nanometres("22 1/2"), depth) for n in range(1, length // nanometres("24") + 1))


def penetrations_of(kind: str, position: int) -> Iterator[Penetration]:
    """One to three, each in a bay of its own."""
    for number, words in enumerate(PENETRATIONS.get(kind, ())[: 1 + position % 3]):
        along, across = nanometres(f"{3 + 4 * number}'"), nanometres(f"{3 + number}'")
        yield Penetration(*words, along, across)


def passage(shop: Shop, panel: Panel, number: int) -> Iterator[Visit]:
    """A panel's visits to the stations of its route."""
    route = panel.control_plan.plan.kind(panel.kind).route
    for station in route:
        days, hour, *_ = STATIONS[station]
        day = number // PANELS_A_DAY + days
        minutes = (number % PANELS_A_DAY) * 95 + shop.chance.randrange(40)
        yield Visit(local(working_day(day), hour) + timedelta(minutes=minutes), station, panel, number)


def delivery(shop: Shop, week: int) -> Visit:
    """One lot of studs each week, checked on Monday morning."""
    at = local(working_day(5 * week), 6.5)
    size = (parse_length("9'"), parse_length("1 1/2"), parse_length("7 1/4"))
    lot = book_in_lot(shop.session, shop.people["otto"], "precut_members", f"STUD-{week + 1:02}", size, at)
    return Visit(at + timedelta(minutes=20), "framing", lot, 10 * week)


def plan_readings(shop: Shop, visit: Visit) -> None:
    """Puts the readings due at a visit on the agenda, one after another, and before them the lots used."""
    if visit.number >= FIRST_WITH_LOTS and isinstance(visit.item, Panel):
        use_lots(shop, visit, visit.item)
    at = visit.at
    for due in visit.item.control_plan.plan.checks(visit.item.subject, visit.station):
        at += timedelta(seconds=shop.chance.randrange(25, 110))
        serial = next(shop.serials)
        shop.then(at, partial(take, shop, Task(visit, due, serial)), serial)


def run(shop: Shop) -> None:
    """Does what is on the agenda in order of time; freezes limits at the end of a week."""
    week_ends, end = local(working_day(4), 17), local(working_day(WORKING_DAYS - 1), END_HOUR)
    while shop.agenda and shop.agenda[0][0] < end:
        at, _, deed = heapq.heappop(shop.agenda)
        while at > week_ends:
            freeze_ripe_limits(shop, week_ends)
            week_ends += timedelta(days=7)
        deed(at)


def take(shop: Shop, task: Task, now: datetime) -> None:
    """Takes a reading, and again once put right; where the plan wants it, the lead says how."""
    reading = log(shop, task, now)
    if reading.verdict == Verdict.WITHIN:
        return
    if reading.verdict == Verdict.OUTSIDE and task.check.characteristic.put_right is PutRight.LEAD:
        shop.then(now + timedelta(minutes=12), partial(decide, shop, reading, DECIDED[reading.quantity]))
    shop.then(now + time_to_put_right(task), partial(take, shop, replace(task, again=True)), task.serial)


def time_to_put_right(task: Task) -> timedelta:
    """Damp wood dries for a week; a thin bay is blown again when the whole panel is filled and cored."""
    if task.check.characteristic.key.endswith("moisture"):
        return timedelta(days=7, minutes=14)
    return timedelta(minutes=45 if task.visit.station == "fill" else 14)


def freeze_ripe_limits(shop: Shop, now: datetime) -> None:
    """Freezes the first limits of each stream that has points enough by now."""
    for stream in shop.session.scalars(select(Stream)).all():
        listed = points(shop.session, stream)
        if not stream.phases and len(listed) >= BASE_POINTS:
            base = (listed[0].measured_at, listed[-1].measured_at)
            reason = "First weeks of the line, machines checked, nothing unusual noted."
            freeze_limits(shop.session, shop.people["mira"], stream, base, reason, now, despite=True)


def log(shop: Shop, task: Task, now: datetime) -> Reading:
    """Records one reading as the station's worker would."""
    visit, characteristic = task.visit, task.check.characteristic
    new = NewReading(
        uuid=shop.uuid(shop.chance),
        item=visit.item,
        station=shop.stations[visit.station],
        characteristic=characteristic.key,
        place=task.check.place,
        entries=typed(shop, task),
        measured_at=now,
        instruments=tuple(instrument(shop, kind, visit.station) for kind in characteristic.instruments),
        note="Measured again after putting right." if task.again else "",
    )
    worker = shop.people[STATIONS[visit.station][2]]
    return record(shop.session, worker, new, now + timedelta(seconds=4))


def instrument(shop: Shop, kind: str, station: str) -> Instrument:
    """What a station measures with: the first of its kind, at the framing table a tape of its own."""
    if (kind, station) == ("tape", "framing"):
        return shop.instruments[shop.framing_tape]
    return next(one for one in shop.instruments.values() if one.kind == kind)


def tell_story(shop: Shop) -> None:
    """What people do in the shop besides measuring."""
    session, people, panels, otto = shop.session, shop.people, shop.panels, shop.people["otto"]
    for came, mark, material, supplier, moisture in rows(LOTS):
        percent = parse_amount(Quantity.MOISTURE, moisture) if moisture else None
        lot = partial(materials.receive, session, otto, mark, material, supplier, percent, "")
        shop.on(int(came), 6.3, lot)
    shop.on(50, 16, partial(close_notices, shop, "Each of these walls is measured before it is closed."))
    for name, kind, *texts, _ in rows(INSTRUMENTS):
        reference, reads = (parse_amount(READ_IN.get(kind, Quantity.LENGTH), text) for text in texts)
        until = BENT[1] if name == BENT[0] else WORKING_DAYS
        for day in (day for day in range(until) if day % 5 == 0 or day >= WORKING_DAYS - 10):
            shop.on(day, 6.2, partial(check_instrument, shop, name, reference, reads))
    shop.on(BENT[1], 6.2, partial(find_bent, shop))
    for seen, hour, who, name, where, what in rows(SEEN):
        shop.on(int(seen), float(hour), partial(see, shop, people[who], name, what, where))
    shop.on(12, 10, partial(measure_leaning, shop, panels["H1 W-07"]))
    shop.on(41, 10, partial(place_hold, session, people["juno"], panels["H2 W-02"], "Tape does not stick."))
    shop.on(42, 8, partial(lift_hold, shop, "H2 W-02", "Warmed over night; the tape sticks now."))
    revised = "The vent's drawing is being revised. Do not close before revision C is here."
    shop.on(58, 15, partial(place_hold, session, people["ike"], panels["H3 R-05"], revised))
    tell_of_loads(shop)


def tell_of_loads(shop: Shop) -> None:
    """Floor and walls of the first building are set; its roof is being loaded, and two panels keep it."""
    for number, (day, letter, count) in enumerate(((45, "F", 8), (50, "W", 14), (WORKING_DAYS, "R", 6))):
        panels = [shop.panels[f"H1 {letter}-{position:02}"] for position in range(1, count + 1)]
        planned = (panels[0].building, panels, working_day(day))
        shop.on(day - 4, 14, partial(loads.plan_load, shop.session, shop.people["otto"], *planned))
        if day < WORKING_DAYS:
            send(shop, panels, day)
            shop.on(day, 8, partial(release_load, shop, panels[0].building, number))
    for panel in panels[1:]:
        shop.on(WORKING_DAYS - 2, 14, partial(release.release, shop.session, shop.people["otto"], panel))
    for panel in panels[:3:-1]:
        loaded = partial(release.passage, shop.session, shop.people["otto"], panel, LOADED)
        shop.on(WORKING_DAYS - 1, 9, loaded)
    shop.on(WORKING_DAYS - 1, 9.2, partial(take_back, shop, panels[2], "Pick point 3 has no tag."))


def send(shop: Shop, panels: list[Panel], day: int) -> None:
    """Panels are released on the day before, loaded last raised first, and set on the day after."""
    session, otto, sol = shop.session, shop.people["otto"], shop.people["sol"]
    for panel in panels:
        shop.on(day - 1, 14, partial(release.release, session, otto, panel))
        remark = REMARKS.get(name_of(panel), "")
        raised = partial(release.passage, session, sol, panel, SET, remark=remark)
        shop.on(day + 1, 8 + panel.position / 5, raised)
        shop.on(day, 7 - panel.position / 20, partial(release.passage, session, otto, panel, LOADED))


def release_load(shop: Shop, building: Building, number: int, now: datetime) -> None:
    load = loads.loads_of(shop.session, building)[number]
    loads.release_load(shop.session, shop.people["otto"], load, now)


def take_back(shop: Shop, panel: Panel, reason: str, now: datetime) -> None:
    made = release.released(shop.session, panel)
    assert made is not None  # noqa: S101 - it was released the day before
    release.withdraw(shop.session, shop.people["otto"], made, reason, now)


def lift_hold(shop: Shop, name: str, reason: str, now: datetime) -> None:
    (placed,) = hold.holds_in_force(shop.session, shop.panels[name])
    hold.lift_hold(shop.session, shop.people["otto"], placed, reason, now)


def use_lots(shop: Shop, visit: Visit, panel: Panel) -> None:
    """Writes down which lots went into a panel at a station: the newest of each material that is there."""
    station, (_, _, worker, used) = shop.stations[visit.station], STATIONS[visit.station]
    for material in used.split():
        came = {
            mark: local(working_day(int(day)), 6.3) for day, mark, *of, _ in rows(LOTS) if of[0] == material
        }
        newest = [mark for mark, at in came.items() if at < visit.at][-1]
        lot = (shop.people[worker], shop.uuid(shop.aside), newest, panel, station, visit.at)
        shop.then(visit.at, partial(materials.use, shop.session, *lot))


def close_notices(shop: Shop, remark: str, now: datetime) -> None:
    for notice in notices.open_notices(shop.session, shop.people["otto"]):
        notices.close_notice(shop.session, shop.people["otto"], notice.id, remark, now)


def check_instrument(
    shop: Shop, name: str, reference: int, reads: int, now: datetime, remark: str = ""
) -> None:
    check(shop.session, shop.people["wren"], shop.instruments[name], SHIFT, reference, reads, remark, now)


def find_bent(shop: Shop, now: datetime) -> None:
    """The tape of the framing table is found wrong, and laid aside."""
    name, _, reads = BENT
    reference = nanometres("10'")
    check_instrument(shop, name, reference, nanometres(reads), now, "Its hook is bent. Laid aside.")
    shop.framing_tape = "Tape 4"


def see(shop: Shop, who: Person, name: str, what: str, where: str, now: datetime) -> None:
    """Somebody sees what no check asks for; what is repaired is looked at again after two hours."""
    one = nonconformity.open_by_person(shop.session, who, shop.panels[name], what, where, (), now)
    if name in DECIDED:
        shop.then(now + timedelta(hours=1), partial(decide, shop, one, DECIDED[name]))
    if name in DECIDED and DECIDED[name][1] == "repair":
        shop.then(now + timedelta(hours=3), partial(look_again, shop, one))


def look_again(shop: Shop, one: Nonconformity, now: datetime) -> None:
    session, otto = shop.session, shop.people["otto"]
    nonconformity.confirm(session, otto, one, "The patch is flush, nailed and taped.", one.version, now)
    session.flush()
    why = ("The fork was raised too early.", "A line on the floor says where the fork is raised.")
    nonconformity.explain(session, otto, one, *why, one.version, now)


def measure_leaning(shop: Shop, panel: Panel, now: datetime) -> None:
    """A wall that leans on the stack is measured again, and accepted as it is."""
    leaning = {"ac": "18' 4 5/16\"", "bd": "18' 4 7/32\""}
    station, tapes = shop.stations["sheathing_fence"], (shop.instruments["Tape 4"],)
    new = NewReading(shop.uuid(shop.aside), panel, station, "squareness", "", leaning, now, tapes)
    reading = record(shop.session, shop.people["wren"], new, now)
    shop.then(now + timedelta(hours=1), partial(decide, shop, reading, DECIDED[name_of(panel)]))


def decide(shop: Shop, about: Nonconformity | Reading, decided: tuple[str, ...], now: datetime) -> None:
    """Decides what is done about a nonconformity, or the one that a reading opened."""
    by, kind, reason, *agreed = decided
    if isinstance(about, Reading):
        opened = select(Nonconformity).where(Nonconformity.reading_id == about.id)
        about = shop.session.scalars(opened).one()
    if about.closed_at is None:
        person = shop.people[by]
        nonconformity.decide(shop.session, person, about, kind, reason, about.version, now, *agreed)


def rows(table: str) -> list[list[str]]:
    return [[cell.strip() for cell in line.split("|")] for line in table.strip().splitlines()]


def typed(shop: Shop, task: Task) -> dict[str, str]:
    """What the worker types: the process, its faults if any, and the graduation of the instrument."""
    match task.check.characteristic.method.key:
        case "check":
            return answer(shop, task)
        case "difference_of_diagonals":
            return diagonals(shop, task)
        case "fill":
            return fill(shop, task)
        case "core":
            return core(shop, task)
        case "meter":
            return moisture(shop, task)
        case _:
            return length(shop, task)


def answer(shop: Shop, task: Task) -> dict[str, str]:
    """Passed, or so many faults with their places; a penetration is a place itself."""
    faults = 0 if task.again or shop.chance.random() > 0.015 else shop.chance.choice((1, 1, 2))
    if not faults:
        return {"passed": "yes"}
    failed = {"passed": "no", "faults": str(faults)}
    if task.check.place:
        return failed
    spots = [PlaceMark(shop.chance.randrange(20, 980), shop.chance.randrange(40, 960)) for _ in range(faults)]
    return {**failed, "where": format_place_marks(spots)}


def length(shop: Shop, task: Task) -> dict[str, str]:
    characteristic, place, item = task.check.characteristic, task.check.place, task.visit.item
    if characteristic.together:
        inches = sides_and_diagonals(shop, task)[place]
    else:
        target = characteristic.requirement(item.subject, place).target or 0
        spread = 0.045 if characteristic.key == "connector_position" else 0.034
        inches = target / NANOMETRES_PER_INCH + shop.chance.gauss(0, 0.012 if task.again else spread)
    if (characteristic.key, place, task.visit.number) == ("edge_length", "AB", 71) and not task.again:
        inches -= 1
        shop.faults["misread tape"].marks.append(name_of(item))
    return {"length": tape(inches)}


def diagonals(shop: Shop, task: Task) -> dict[str, str]:
    if not task.again and is_fence_out(task.visit):
        shop.faults["fence shift"].marks.append(name_of(task.visit.item))
    true = sides_and_diagonals(shop, task)
    return {"ac": tape(true["AC"]), "bd": tape(true["BD"])}


def is_fence_out(visit: Visit) -> bool:
    return 52 <= visit.number < 64


def sides_and_diagonals(shop: Shop, task: Task) -> dict[str, float]:
    """The true lengths of a panel as it lies in the fence, in inches: the same for all readings of one visit.

    Put right, it lies there anew.
    """
    key = (task.visit.number, task.again)
    if key not in shop.lying:
        shop.lying[key] = lie_in_fence(shop, task)
    return shop.lying[key]


def lie_in_fence(shop: Shop, task: Task) -> dict[str, float]:
    panel = task.visit.item
    long, wide = panel.length / NANOMETRES_PER_INCH, panel.width / NANOMETRES_PER_INCH
    spread = 0.012 if task.again else 0.034
    difference = shop.chance.gauss(0, 0.012 if task.again else 0.038)
    difference += 0.125 if is_fence_out(task.visit) and not task.again else 0
    # The lean that makes this difference of diagonals, by the parallelogram law.
    lean = difference * math.hypot(long, wide) / (2 * long)
    edge_ab, edge_dc, end_da, end_cb = (shop.chance.gauss(0, spread) for _ in range(4))
    a, b = (0.0, 0.0), (long + edge_ab, 0.0)
    c, d = (long + edge_dc + lean, wide + end_cb), (lean, wide + end_da)
    corners = {"A": a, "B": b, "C": c, "D": d}
    return {
        line: math.dist(corners[line[0]], corners[line[1]]) for line in ("AB", "DC", "DA", "CB", "AC", "BD")
    }


def fill(shop: Shop, task: Task) -> dict[str, str]:
    """The mass that a bay took: its density over its volume, which is not quite nominal."""
    panel, bay = task.visit.item, bay_of(task)
    cubic_feet = bay.width * panel.width * bay.depth / NANOMETRES_PER_INCH**3 / 1728
    pounds = density(shop, task) * cubic_feet * shop.chance.gauss(1, 0.01)
    seconds = pounds / POUNDS_A_SECOND * shop.chance.gauss(1, 0.03)
    return {"mass": f"{pounds:.1f} lb", "setting": SETTINGS[panel.kind], "seconds": f"{seconds:.0f}"}


def core(shop: Shop, task: Task) -> dict[str, str]:
    depth = Length.from_nanometres(bay_of(task).depth)
    cubic_feet = math.pi / 4 * 2.5**2 * float(depth.inches) / 1728
    grams = density(shop, task) * cubic_feet * 453.59237
    name_fill_fault(shop, task)
    return {"mass": f"{grams:.1f} g", "depth": format_length(depth, DENOMINATOR)}


def bay_of(task: Task) -> Bay:
    bay = task.visit.item.subject.bay(int(task.check.place.split()[1]))
    assert bay is not None  # noqa: S101 - the plan names bays the panel has
    return bay


def density(shop: Shop, task: Task) -> float:
    """What the bay is filled to, in lb/ft³: the same for its mass and its core, and anew once put right."""
    item, bay = task.visit.item, bay_of(task)
    key = (item.id, bay.number, task.again)
    if key not in shop.densities:
        fault = 0 if task.again else fill_fault(filling_number(shop, item), is_cored(item, bay))
        shop.densities[key] = shop.chance.gauss(3.8 if bay.depth <= nanometres("7 1/4") else 4.0, 0.1) + fault
    return shop.densities[key]


def filling_number(shop: Shop, item: Item) -> int:
    return shop.filled.setdefault(item.id, len(shop.filled) + 1)


def is_cored(item: Item, bay: Bay) -> bool:
    cored = item.control_plan.plan.characteristic(item.kind, "core_density").due_places(item.subject)
    return f"bay {bay.number}" in cored


def fill_fault(number: int, is_cored: bool) -> float:
    """What the planted faults take from the density of a bay in the n-th panel filled, in lb/ft³."""
    if number == 33:
        return -0.95 if is_cored else 0
    return -0.018 * (number - 42) if 42 < number <= 62 else 0


def name_fill_fault(shop: Shop, task: Task) -> None:
    number = filling_number(shop, task.visit.item)
    if not task.again and fill_fault(number, is_cored=True):
        fault = shop.faults["thin bay" if number == 33 else "worn machine"]
        fault.marks.append(name_of(task.visit.item))


def moisture(shop: Shop, task: Task) -> dict[str, str]:
    percent = shop.chance.gauss(13.2, 0.9)
    is_stud = (task.check.characteristic.key, task.check.place) == ("wood_moisture", "stud")
    if is_stud and not task.again and 90 <= task.visit.number < 102:
        percent = shop.chance.gauss(19.6, 0.7)
        shop.faults["damp studs"].marks.append(name_of(task.visit.item))
    return {"percent": f"{percent:.1f}"}


def name_of(item: Item) -> str:
    """Building and mark of a panel, or the mark of a lot."""
    return f"{item.building.code} {item.mark}" if isinstance(item, Panel) else item.mark


NANOMETRES_PER_INCH = 25_400_000


def tape(inches: float) -> str:
    """A length read on the tape, to its nearest graduation."""
    return format_length(Length.from_inches(round(inches * DENOMINATOR) / DENOMINATOR), DENOMINATOR)


def nanometres(text: str) -> int:
    return parse_length(text).nanometres


def local(day: date, hour: float) -> datetime:
    """A time on the shop's clock, in UTC."""
    return (datetime.combine(day, time(), ZONE) + timedelta(hours=hour)).astimezone(UTC)


def working_day(number: int) -> date:
    """The n-th weekday from the first, counting from 0."""
    return FIRST_DAY + timedelta(days=number // 5 * 7 + number % 5)


def write_schedule(path: Path) -> None:
    """A small fourth building to import, with one row whose length cannot be read."""
    header = (
        "building building_name mark kind length width depth bays bay_width connectors penetrations run "
        "position raising_sequence"
    )
    vents = "V1 | both | 3 in | pipe sleeve | 6' | 4'; E1 | inner | 1 in | conduit sleeve"
    sizes = ["8'", '11 1/4"', "10", '22 1/2"', "4'; 16'", vents]
    rows = [
        ["H4", "Tern Point Studio", f"R-{n:02}", "Closed roof panel", length, *sizes, "Roof", str(n), str(n)]
        for n, length in enumerate(["20'"] * 6 + ["5/0"], 1)
    ]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header.split(), *rows])


def write_readings(path: Path) -> None:
    """Readings of that building kept on paper, with one row whose panel mark does not exist."""
    header = "building mark station characteristic place value value_2 instruments measured_at person"
    of_a_panel = [
        ("edge_length", "AB", "20' 0\"", ""),
        ("edge_length", "DC", "19' 11 31/32\"", ""),
        ("end_length", "DA", "8' 0\"", ""),
        ("end_length", "CB", "8' 0 1/32\"", ""),
        ("squareness", "", "21' 6 1/2\"", "21' 6 15/32\""),
    ]
    measured = [(f"R-{n:02}", *reading) for n in range(1, 4) for reading in of_a_panel]
    measured.append(("R-99", "edge_length", "AB", "20'", ""))
    day = working_day(WORKING_DAYS).isoformat()
    rows = [
        ["H4", mark, "sheathing_fence", *reading, "Tape 4", f"{day} 09:{minute:02}", "wren"]
        for minute, (mark, *reading) in enumerate(measured, 1)
    ]
    path.write_bytes(workbook([header.split(), *rows]))


def workbook(rows: list[list[str]]) -> bytes:
    """An XLSX workbook of one sheet, the same bytes each time: the times kept inside it are fixed."""
    book, written, rewritten = Workbook(), BytesIO(), BytesIO()
    sheet = book.active
    assert sheet is not None  # noqa: S101 - a new workbook has one
    for row in rows:
        sheet.append(row)
    book.save(written)
    book.properties.created = book.properties.modified = datetime(*WRITTEN)  # noqa: DTZ001 - it takes no zone
    properties = tostring(book.properties.to_tree())
    with zipfile.ZipFile(written) as parts, zipfile.ZipFile(rewritten, "w", zipfile.ZIP_DEFLATED) as fixed:
        for name in parts.namelist():
            content = properties if name == "docProps/core.xml" else parts.read(name)
            fixed.writestr(zipfile.ZipInfo(name, (*WRITTEN, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)
    return rewritten.getvalue()


if __name__ == "__main__":
    main(sys.argv[1:])
