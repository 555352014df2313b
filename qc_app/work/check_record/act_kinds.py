"""The kinds of act that one event tells of and one row stores, with the columns that are compared.

Each column bears the name of the event's fact that says the same; ``panel``, ``person`` and ``time`` are
those of the event itself.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy.orm import InstrumentedAttribute, aliased

from qc_app.records.building import Building, Lot, Panel
from qc_app.records.chart import Phase, Stream
from qc_app.records.hold import Hold
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.release import PacketCopy, Passage, Release, ReleaseWithdrawal
from qc_app.records.shop import Instrument, Plant, Station
from qc_app.records.tablet import Notice

Query = Select[*tuple[Any, ...]]
Column = InstrumentedAttribute[Any] | ColumnElement[Any]


@dataclass(frozen=True)
class Kind:
    """One kind of act: its word, whose chain tells of it, and its rows of that building or plant."""

    word: str
    owner: type[Building] | type[Plant]
    stored: Callable[[int], Query]


def _columns(**columns: Column) -> Query:
    return select(*(column.label(name) for name, column in columns.items()))


def _releases(building_id: int) -> Query:
    of = _columns(
        panel=Release.panel_id, person=Release.person_id, time=Release.released_at, sha256=Release.sha256
    )
    of = of.join(Panel, Release.panel_id == Panel.id).where(Panel.building_id == building_id)
    return of.order_by(Release.id)


def _withdrawals(building_id: int) -> Query:
    of = _columns(
        panel=Release.panel_id,
        person=ReleaseWithdrawal.person_id,
        time=ReleaseWithdrawal.at,
        sha256=Release.sha256,
        reason=ReleaseWithdrawal.reason,
    )
    of = of.join(Release, ReleaseWithdrawal.release_id == Release.id)
    of = of.join(Panel, Release.panel_id == Panel.id).where(Panel.building_id == building_id)
    return of.order_by(ReleaseWithdrawal.id)


def _passages(what: str) -> Callable[[int], Query]:
    def stored(building_id: int) -> Query:
        of = _columns(
            panel=Passage.panel_id, person=Passage.person_id, time=Passage.at, remark=Passage.remark
        )
        of = of.join(Panel, Passage.panel_id == Panel.id)
        return of.where(Panel.building_id == building_id, Passage.what == what).order_by(Passage.id)

    return stored


def _dispositions(building_id: int) -> Query:
    of = _columns(
        panel=Nonconformity.panel_id,
        person=Disposition.person_id,
        time=Disposition.at,
        number=Nonconformity.number,
        decision=Disposition.kind,
        reason=Disposition.reason,
        **{"agreed by": Disposition.agreed_by},
    )
    of = of.join(Nonconformity, Disposition.nonconformity_id == Nonconformity.id)
    return of.where(Nonconformity.building_id == building_id).order_by(Disposition.id)


def _holds_placed(building_id: int) -> Query:
    of = _columns(
        panel=Hold.panel_id,
        person=Hold.placed_by_id,
        time=Hold.placed_at,
        why=Hold.why,
        reason=Hold.reason,
        chart=Hold.facts["chart"].as_string(),
        rule=Hold.facts["rule"].as_string(),
        reading=Hold.facts["reading"].as_string(),
        instrument=Hold.facts["instrument"].as_string(),
    )
    of = of.join(Panel, Hold.panel_id == Panel.id).where(Panel.building_id == building_id)
    return of.order_by(Hold.id)


def _holds_lifted(building_id: int) -> Query:
    of = _columns(
        panel=Hold.panel_id,
        person=Hold.lifted_by_id,
        time=Hold.lifted_at,
        why=Hold.why,
        held=Hold.reason,
        placed_at=Hold.placed_at,
        reason=Hold.lift_reason,
    )
    of = of.join(Panel, Hold.panel_id == Panel.id)
    return of.where(Panel.building_id == building_id, Hold.lifted_at.is_not(None)).order_by(Hold.id)


def _lot_uses(building_id: int) -> Query:
    of = _columns(
        panel=LotUse.panel_id,
        person=LotUse.person_id,
        use=LotUse.uuid,
        lot=func.coalesce(MaterialLot.mark, Lot.mark),
        station=Station.key,
        used_at=LotUse.at,
    )
    of = of.join(Panel, LotUse.panel_id == Panel.id).join(Station, LotUse.station_id == Station.id)
    of = of.outerjoin(MaterialLot, LotUse.material_lot_id == MaterialLot.id)
    of = of.outerjoin(Lot, LotUse.lot_id == Lot.id)
    return of.where(Panel.building_id == building_id).order_by(LotUse.id)


def _packets(building_id: int) -> Query:
    of = _columns(person=PacketCopy.person_id, time=PacketCopy.made_at, sha256=PacketCopy.sha256)
    return of.where(PacketCopy.building_id == building_id).order_by(PacketCopy.id)


def _instrument_checks(is_measured: bool) -> Callable[[int], Query]:
    def stored(plant_id: int) -> Query:
        of = _columns(
            person=InstrumentCheck.person_id,
            instrument=Instrument.name,
            at=InstrumentCheck.at,
            occasion=InstrumentCheck.occasion,
            reference=InstrumentCheck.reference,
            read=InstrumentCheck.read,
            permitted=InstrumentCheck.permitted,
            passed=InstrumentCheck.passed,
            remark=InstrumentCheck.remark,
        )
        of = of.join(Instrument, InstrumentCheck.instrument_id == Instrument.id)
        was_read = InstrumentCheck.read.is_not(None)
        return of.where(Instrument.plant_id == plant_id, was_read if is_measured else ~was_read).order_by(
            InstrumentCheck.id
        )

    return stored


def _materials(plant_id: int) -> Query:
    of = _columns(
        person=MaterialLot.received_by_id,
        mark=MaterialLot.mark,
        material=MaterialLot.material,
        supplier=MaterialLot.supplier,
        moisture=MaterialLot.moisture,
        remark=MaterialLot.remark,
        received_at=MaterialLot.received_at,
    )
    return of.where(MaterialLot.plant_id == plant_id).order_by(MaterialLot.id)


def _limits(plant_id: int) -> Query:
    station = aliased(Station)
    of = _columns(
        person=Phase.person_id,
        time=Phase.frozen_at,
        chart=Stream.name,
        station=station.key,
        begins_at=Phase.begins_at,
        base_ends_at=Phase.base_ends_at,
        points=Phase.points,
        centre=Phase.centre,
        sigma=Phase.sigma,
        rules=Phase.rules,
        reason=Phase.reason,
    )
    of = of.join(Stream, Phase.stream_id == Stream.id).join(station, Stream.station_id == station.id)
    return of.where(station.plant_id == plant_id).order_by(Phase.id)


def _notices_closed(plant_id: int) -> Query:
    of = _columns(
        panel=Notice.panel_id,
        person=Notice.closed_by_id,
        time=Notice.closed_at,
        about=Notice.about,
        remark=Notice.remark,
    )
    return of.where(Notice.plant_id == plant_id, Notice.closed_by_id.is_not(None)).order_by(Notice.id)


KINDS: Mapping[str, Kind] = {
    "panel released": Kind("release", Building, _releases),
    "release withdrawn": Kind("withdrawal of a release", Building, _withdrawals),
    "panel loaded": Kind("loading", Building, _passages("loaded")),
    "panel set": Kind("setting", Building, _passages("set")),
    "nonconformity decided": Kind("disposition", Building, _dispositions),
    "panel put on hold": Kind("hold", Building, _holds_placed),
    "hold lifted": Kind("lifting of a hold", Building, _holds_lifted),
    "lot used": Kind("use of a lot", Building, _lot_uses),
    "packet handed over": Kind("handover packet", Building, _packets),
    "instrument checked": Kind("check of an instrument", Plant, _instrument_checks(True)),
    "instrument found wrong": Kind("instrument found wrong", Plant, _instrument_checks(False)),
    "material received": Kind("lot of material", Plant, _materials),
    "control limits frozen": Kind("freezing of control limits", Plant, _limits),
    "notice closed": Kind("closing of a notice", Plant, _notices_closed),
}
"""The kinds of act, by what their events are called."""
