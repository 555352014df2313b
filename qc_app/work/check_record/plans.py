"""Whether stations and characteristics are those that the versions of the control plan name."""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.shop import Plant, Station
from qc_app.refusal import Refusal
from qc_app.work.check_record.place import Chain


def plans_that_differ(session: Session, chain: Chain) -> Iterator[str]:
    """What the tables have otherwise than the documents of a plant's control plan.

    The documents themselves are compared with the hashes of those that were adopted.
    """
    if chain.owner is not Plant:
        return
    versions = list(
        session.scalars(
            select(ControlPlan).where(ControlPlan.plant_id == chain.owner_id).order_by(ControlPlan.version)
        )
    )
    try:
        for version in versions:
            yield from _characteristics(session, chain, version)
        yield from _stations(session, chain, versions)
    except Refusal as refusal:
        yield f"{chain.words}: a version of the control plan cannot be read: {refusal}"


def _characteristics(session: Session, chain: Chain, version: ControlPlan) -> Iterator[str]:
    said = {(c.kind, c.key): _described(c) for c in version.plan.characteristics}
    of_version = select(Characteristic).where(Characteristic.control_plan_id == version.id)
    stored = {(c.kind, c.key): _described(c) for c in session.scalars(of_version)}
    for kind, key in sorted(said.keys() | stored.keys()):
        has, says = stored.get((kind, key)), said.get((kind, key))
        if has != says:
            yield (
                f"{chain.words}: version {version.version} of the control plan says of {key} on {kind}: "
                f"{says or 'nothing'}; the table says: {has or 'nothing'}."
            )


def _described(one: Any) -> str:
    """A characteristic, of a document or of the table, in words."""
    return f"“{one.name}”, at station {one.station}, quantity {one.quantity}"


def _stations(session: Session, chain: Chain, versions: list[ControlPlan]) -> Iterator[str]:
    said: dict[str, list[Mapping[str, Any]]] = {}
    for version in versions:
        for position, named in enumerate(version.plan.stations, 1):
            values = {"name": named.name, "position": position, "cautions": [*named.cautions]}
            said.setdefault(named.key, []).append(values)
    stored = {
        one.key: {"name": one.name, "position": one.position, "cautions": one.cautions}
        for one in session.scalars(select(Station).where(Station.plant_id == chain.owner_id))
    }
    for key in sorted(stored.keys() - said.keys()):
        yield f"{chain.words}: the table has the station {key}; no version of the control plan names it."
    for key in sorted(said.keys() - stored.keys()):
        yield f"{chain.words}: the control plan names the station {key}; the table has none like it."
    for key in sorted(stored.keys() & said.keys()):
        if stored[key] not in said[key]:
            yield (
                f"{chain.words}: the newest version of the control plan says that station {key} is "
                f"{said[key][-1]}; the table says {stored[key]}."
            )
