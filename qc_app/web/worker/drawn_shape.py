"""Drawing a panel's measured shape, its deviations from the nominal rectangle exaggerated."""

from dataclasses import dataclass

from qc_app.work.panel_shape import Shape

WIDTH, MARGIN = 260.0, 30.0
"""Of the nominal panel in the drawing, and of the space around it."""

SEEN = 26.0
"""How far, about, the corner that is most out is moved in the drawing."""

CORNERS = "ABCD"

Spot = tuple[float, float]


@dataclass(frozen=True)
class Drawing:
    """Corners A, B, C, D of the nominal and of the measured panel in the drawing's units, y downwards."""

    nominal: tuple[Spot, ...]
    measured: tuple[Spot, ...]
    height: float
    exaggeration: int


def drawn(shape: Shape, length: float, width: float) -> Drawing:
    """The drawing of a shape beside its nominal rectangle; sizes in inches."""
    scale = WIDTH / length
    high = width * scale
    rectangle = ((0.0, 0.0), (length, 0.0), (length, width), (0.0, width))
    offsets = [
        (float(x) - nominal_x, float(y) - nominal_y)
        for (x, y), (nominal_x, nominal_y) in zip(shape.corners, rectangle, strict=True)
    ]
    most = max(max(abs(dx), abs(dy)) for dx, dy in offsets)
    exaggeration = _round_number(SEEN / (most * scale)) if most > 0 else 1

    def place(x: float, y: float) -> Spot:
        return MARGIN + x * scale, MARGIN + high - y * scale

    measured = tuple(
        place(x + dx * exaggeration, y + dy * exaggeration)
        for (x, y), (dx, dy) in zip(rectangle, offsets, strict=True)
    )
    return Drawing(tuple(place(x, y) for x, y in rectangle), measured, high + 2 * MARGIN, exaggeration)


def _round_number(largest: float) -> int:
    """The largest of 1, 2, 5, 10, 20, 50 … that is not above the given number; at least 1."""
    power = 1
    while power * 10 <= largest:
        power *= 10
    return next((step * power for step in (5, 2) if step * power <= largest), power)
