"""The nominal panel drawn to scale: lettered corners, bays, connectors and penetrations."""

from dataclasses import dataclass

from qc_app.records.building import Lot, Panel

LONGEST, HIGHEST = 260.0, 120.0
"""Room for the panel in the drawing's units."""

MARGIN = 30.0

Spot = tuple[float, float]


@dataclass(frozen=True)
class Box:
    """A bay in the drawing: its number and its rectangle."""

    number: int
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class PanelDrawing:
    """A panel in the drawing's units, y downwards; corner A at the lower left."""

    length: float
    width: float
    bays: tuple[Box, ...]
    connectors: tuple[Spot, ...]
    penetrations: tuple[tuple[str, Spot], ...]

    @property
    def size(self) -> Spot:
        """Of the whole drawing, margins included."""
        return self.length + 2 * MARGIN, self.width + 2 * MARGIN

    @property
    def corners(self) -> dict[str, Spot]:
        right, bottom = MARGIN + self.length, MARGIN + self.width
        return {"A": (MARGIN, bottom), "B": (right, bottom), "C": (right, MARGIN), "D": (MARGIN, MARGIN)}


def drawing_of(item: Panel | Lot) -> PanelDrawing:
    """The drawing of an item; both sizes to the same scale."""
    scale = min(LONGEST / item.length, HIGHEST / item.width)
    length, width = item.length * scale, item.width * scale
    if isinstance(item, Lot):
        return PanelDrawing(length, width, (), (), ())
    bottom = MARGIN + width
    return PanelDrawing(
        length,
        width,
        _bays(item, scale, width),
        tuple((MARGIN + connector.position * scale, bottom) for connector in item.connectors),
        tuple(
            (p.mark, (MARGIN + p.along * scale, bottom - p.across * scale))
            for p in item.penetrations
            if p.along is not None and p.across is not None
        ),
    )


def _bays(panel: Panel, scale: float, height: float) -> tuple[Box, ...]:
    """Bays in order from end AD. Members share what the clear widths leave of the length."""
    clear = sum(bay.width for bay in panel.bays)
    member = max(panel.length - clear, 0) / (len(panel.bays) + 1)
    shrink = min(1.0, panel.length / clear) if clear else 1.0
    boxes, at = [], member
    for bay in panel.bays:
        boxes.append(Box(bay.number, MARGIN + at * scale, MARGIN, bay.width * shrink * scale, height))
        at += bay.width * shrink + member
    return tuple(boxes)
