"""All readings of a packet as a CSV table (RFC 4180), to be opened in a spreadsheet or read by a program."""

import csv
import io
from collections.abc import Iterator

from qc_app.packet.content import BuildingPacket
from qc_app.packet.reading_line import ReadingLine
from qc_app.plan.quantity import Quantity, Units, axis_unit, plotted

COLUMNS = (
    "panel",
    "kind",
    "station",
    "characteristic",
    "place",
    "measured at",
    "as entered",
    "value",
    "unit",
    "target",
    "lower limit",
    "upper limit",
    "deviation",
    "verdict",
    "reading",
    "by",
    "instruments",
    "note",
    "received at",
    "number of entry",
    "places of faults",
    "photos (SHA-256)",
    "corrected because",
)

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""A spreadsheet may take a cell that begins so for a formula (OWASP, CSV injection)."""

Cell = str | float | int | None


def readings_csv(packet: BuildingPacket) -> bytes:
    """UTF-8 with a byte order mark, which spreadsheets need to read ³ and names rightly."""
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(COLUMNS)
    table.writerows([_cell(cell) for cell in row] for row in _rows(packet))
    return text.getvalue().encode("utf-8-sig", errors="replace")


def _rows(packet: BuildingPacket) -> Iterator[tuple[Cell, ...]]:
    for panel in packet.panels:
        for check in panel.checks:
            for line in (*check.earlier, *([check.newest] if check.newest else ())):
                yield panel.mark, panel.kind, *_row(line, packet.units)


def _row(line: ReadingLine, units: Units) -> tuple[Cell, ...]:
    required = line.requirement
    deviation = None if required.target is None else required.deviation(line.amount)
    value, target, lower, upper, difference = (
        _number(line.quantity, amount, units)
        for amount in (line.amount, required.target, required.lower, required.upper, deviation)
    )
    return (
        line.station,
        line.name,
        line.place,
        line.measured_at.isoformat(),
        line.entered,
        value,
        axis_unit(line.quantity, units),
        target,
        lower,
        upper,
        difference,
        line.verdict.value,
        line.fate.value,
        line.by,
        "; ".join(line.instruments),
        line.note,
        line.received_at.isoformat(),
        line.uuid,
        line.typed.get("where", ""),
        "; ".join(line.photos),
        line.corrected_because,
    )


def _number(quantity: Quantity, amount: int | None, units: Units) -> float | None:
    return None if amount is None else plotted(quantity, amount, units)


def _cell(cell: Cell) -> Cell:
    """Text that looks like a formula gets a leading apostrophe; numbers stay numbers."""
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA_STARTS) else cell
