"""What events say of panels and lots as they come onto the schedule."""

from typing import Any

from qc_app.records.building import Bay, Connector, Lot, Panel, Penetration


def panel_as_scheduled(panel: Panel) -> dict[str, Any]:
    """Mark, kind, version of the control plan, place in the building, and all nominal sizes in nanometres."""
    return {
        **lot_as_booked_in(panel),
        "run": panel.run,
        "position": panel.position,
        "raising_sequence": panel.raising_sequence,
        "bays": sorted(_bay(bay) for bay in panel.bays),
        "connectors": sorted(_connector(connector) for connector in panel.connectors),
        "penetrations": sorted((_penetration(one) for one in panel.penetrations), key=_number),
    }


def lot_as_booked_in(item: Lot | Panel) -> dict[str, Any]:
    """Mark, kind, version of the control plan, and nominal sizes in nanometres."""
    return {
        "mark": item.mark,
        "kind": item.kind,
        "plan": item.control_plan.version,
        "length": item.length,
        "width": item.width,
        "depth": item.depth,
    }


def _bay(bay: Bay) -> list[int]:
    return [bay.number, bay.width, bay.depth]


def _connector(connector: Connector) -> list[int]:
    return [connector.number, connector.position]


def _penetration(one: Penetration) -> list[int | str | None]:
    return [one.number, one.mark, one.face, one.size, one.sleeve, one.along, one.across]


def _number(listed: list[int | str | None]) -> int:
    return int(listed[0] or 0)
