"""The handover packet of a building as a PDF for print, screen and archive."""

import io
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from qc_app.packet.characters import MISSING, breakable, printable, printable_ascii
from qc_app.packet.content import BuildingPacket
from qc_app.packet.panel_acts import PanelActs, ReleaseLine
from qc_app.packet.panel_record import CheckLine, PanelRecord, StationRecord, ToldIn
from qc_app.packet.panel_tables import bay_fills, beside, penetrations
from qc_app.packet.reading_line import State
from qc_app.packet.readings_table import readings_csv
from qc_app.packet.wording import counted, long_date, short_time
from qc_app.refusal import shortened

TEMPLATE = Path(__file__).with_name("building.typ")

LONGEST_IN_FOOTER = 48

EXACT = ("address", "sha256", "svg")
"""What is set as it is: a place to break it would spoil it when copied."""


def building_pdf(packet: BuildingPacket) -> bytes:
    """The packet as a PDF with the readings attached as ``readings.csv``; same content, same bytes.

    A character that the fonts lack is printed as □, and the packet says so; the attached table keeps it.
    """
    from typst import TypstError

    table = readings_csv(packet).decode()
    document = _document(packet)
    at = int(packet.made_at.timestamp())
    try:
        return _compiled(_printed(document, printable), table, at)
    except TypstError:
        # A mark and its letter need a glyph in one and the same font, even if each alone has one somewhere.
        return _compiled(_printed(document, printable_ascii), table, at)


def _compiled(document: object, table: str, at: int) -> bytes:
    """Exported as PDF/A-3a, which may carry an attached file, and as PDF/UA-1, tagged for reading aloud."""
    import typst

    text = json.dumps(document)
    lacks_characters = json.dumps(MISSING)[1:-1] in text
    return typst.compile(
        TEMPLATE,
        format="pdf",
        ignore_system_fonts=True,
        sys_inputs={"packet": text, "readings": table, "missing": MISSING if lacks_characters else ""},
        pdf_standards=["a-3a", "ua-1"],
        timestamp=at,
    )


def _printed(part: object, to_print: Callable[[str], str]) -> object:
    """The same lists and tables with every text made printable."""
    if isinstance(part, str):
        return breakable(to_print(part))
    if isinstance(part, dict):
        return {key: value if key in EXACT else _printed(value, to_print) for key, value in part.items()}
    if isinstance(part, list):
        return [_printed(value, to_print) for value in part]
    return part


def _document(packet: BuildingPacket) -> dict[str, Any]:
    return {
        "plant": packet.plant,
        "building": packet.name,
        "code": packet.code,
        "footer": shortened(f"{packet.name} ({packet.code})", LONGEST_IN_FOOTER),
        "date": long_date(packet.made_at),
        "made_at": short_time(packet.made_at),
        "time_zone": packet.time_zone,
        "plans": [
            f"{plan.name}, version {plan.version}, in force from {long_date(plan.in_force_from)}"
            for plan in packet.plans
        ],
        "statement": _statement(packet),
        "panel_count": len(packet.panels),
        "proven": packet.proven,
        "open": packet.open,
        "released": packet.released,
        "kinds": [[kind, count] for kind, count in packet.by_kind.items()],
        "states": [[state.value, count] for state, count in packet.by_state.items()],
        "earlier": packet.earlier,
        "cautions": [
            {"station": station.station, "cautions": list(station.cautions)} for station in packet.cautions
        ],
        "panels": [_panel(panel) for panel in packet.panels],
    }


def _statement(packet: BuildingPacket) -> str:
    begin = "This packet is a record of what was measured."
    if not packet.panels:
        return f"{begin} The building has no panels on the schedule, so nothing is proven."
    if packet.open:
        open_panels = counted(packet.open, "panel is", "panels are")
        return f"{begin} {open_panels} not proven yet."
    if packet.accepted:
        accepted = counted(packet.accepted, "check was", "checks were")
        others = "the others are within their limits"
        return f"{begin} Every check is recorded; {accepted} accepted by concession, {others}."
    return f"{begin} Every check that the control plan asks for is recorded within its limits."


def _panel(panel: PanelRecord) -> dict[str, Any]:
    return {
        "mark": panel.mark,
        "footer": shortened(panel.mark, LONGEST_IN_FOOTER),
        "kind": panel.kind,
        "length": panel.length,
        "width": panel.width,
        "depth": panel.depth,
        "run": panel.run,
        "position": panel.position,
        "raising_sequence": panel.raising_sequence,
        "proven": panel.is_proven,
        "state": _panel_state(panel).value,
        "summary": panel.summary,
        "open_points": _open_points(panel),
        "stations": [station for station in map(_station, panel.stations) if station["checks"]],
        "penetrations": penetrations(panel),
        "fill": bay_fills(panel),
        "made_again_for": panel.made_again_for,
        **_acts(panel.acts),
    }


def _acts(acts: PanelActs) -> dict[str, Any]:
    return {
        "release": _release(acts.release) if acts.release else None,
        "withdrawn": list(acts.withdrawn),
        "nonconformities": [
            {"number": one.number, "what": one.what, "told": list(one.told)} for one in acts.nonconformities
        ],
        "lots": list(acts.lots),
    }


def _release(release: ReleaseLine) -> dict[str, str]:
    return {
        "by": release.by,
        "at": short_time(release.at),
        "sha256": release.sha256,
        "address": release.address,
        "svg": code_drawn(release.address) if release.address else "",
    }


def code_drawn(address: str) -> str:
    """An address as a square code to scan, with the quiet zone that ISO/IEC 18004 asks for."""
    import segno

    drawn = io.BytesIO()
    segno.make_qr(address, error="m").save(drawn, kind="svg", border=4, xmldecl=False)
    return drawn.getvalue().decode()


def _station(station: StationRecord) -> dict[str, Any]:
    checks = [check for check in station.checks if check.told_in is ToldIn.CHECKS]
    return {"name": station.name, "checks": [_check(check) for check in checks]}


def _panel_state(panel: PanelRecord) -> State:
    """The gravest state of its checks."""
    if panel.is_proven:
        return State.WITHIN
    grave = (State.OUTSIDE, State.UNCLEAR)
    return next((state for state in grave if panel.count(state)), State.NOT_RECORDED)


def _open_points(panel: PanelRecord) -> list[str]:
    """Readings that prove nothing, each in its own sentence; then, in one, all that is not recorded."""
    missing = [check for check in panel.checks if check.state is State.NOT_RECORDED]
    unread = {check.open_point for check in missing}
    read = [point for point in panel.open_points if point not in unread]
    if not missing:
        return read
    if len(missing) == sum(check.due for check in panel.checks):
        return [*read, f"Nothing recorded yet; {counted(len(missing), 'check is', 'checks are')} due."]
    return [*read, f"{'; '.join(_titles(missing))}: not yet recorded."]


def _titles(checks: Sequence[CheckLine]) -> list[str]:
    """The title of each check; the bays of a fill in one."""
    titles = [check.title for check in checks if check.told_in is not ToldIn.BAYS]
    bays = [check for check in checks if check.told_in is ToldIn.BAYS]
    if not bays:
        return titles
    numbers = ", ".join(check.place.removeprefix("bay ") for check in bays)
    return [*titles, f"{bays[0].name}, {'bay' if len(bays) == 1 else 'bays'} {numbers}"]


def _check(check: CheckLine) -> dict[str, Any]:
    newest = check.newest
    return {
        "name": check.name,
        "place": check.place,
        "beyond": not check.due,
        "state": check.state.value,
        "target": check.target,
        "limits": check.limits,
        "value": newest.value if newest else "",
        "spread": newest.spread if newest else "",
        "entered": newest.entered if newest and newest.entered != newest.value else "",
        "companions": list(newest.companions) if newest else [],
        "deviation": newest.deviation if newest else "",
        "measured_at": short_time(newest.measured_at) if newest else "",
        "by": ", ".join((newest.by, *newest.instruments)) if newest else "",
        "where": newest.where if newest else "",
        "beside": beside(check),
    }
