"""Small charts, drawn on the server so that they need no script."""

from dataclasses import dataclass

from flask_babel import gettext as _
from flask_babel import ngettext

from qc_app.plan.quantity import Units
from qc_app.records.shop import Plant
from qc_app.web.show import amount, difference, local_time
from qc_app.work.board import SmallChart

WIDTH, HEIGHT, EDGE = 240, 64, 9


@dataclass(frozen=True)
class Sparkline:
    """A small chart as it is drawn, in the units of its view box, and in words.

    ``limits`` are heights of the control limits, ``signals`` places of older points with a signal. ``last``
    is the place of the newest point, whose shape tells its ``state``: signal, outside or within.
    """

    chart: SmallChart
    line: str
    limits: tuple[float, ...]
    centre: float | None
    signals: tuple[tuple[float, float], ...]
    last: tuple[float, float] | None
    state: str
    sentence: str


def sparkline(chart: SmallChart, units: Units, plant: Plant) -> Sparkline:
    """The drawing of a small chart."""
    values = [float(point.deviation) for point in chart.points]
    phase = chart.phase
    ends = (phase.lower, phase.upper) if phase else ()
    lowest, highest = min((*values, *ends), default=0.0), max((*values, *ends), default=0.0)
    step = (WIDTH - 2 * EDGE) / max(len(values) - 1, 1)

    def height(value: float) -> float:
        share = (value - lowest) / (highest - lowest) if highest > lowest else 0.5
        return round(HEIGHT - EDGE - share * (HEIGHT - 2 * EDGE), 1)

    places = [(round(EDGE + i * step, 1), height(value)) for i, value in enumerate(values)]
    signalling = [point.id in chart.signalling for point in chart.points]
    return Sparkline(
        chart,
        " ".join(f"{x},{y}" for x, y in places),
        tuple(height(end) for end in ends),
        height(phase.centre) if phase else None,
        tuple(place for place, signals in zip(places[:-1], signalling, strict=False) if signals),
        places[-1] if places else None,
        _state(chart),
        _sentence(chart, units, plant),
    )


def _state(chart: SmallChart) -> str:
    if not chart.points:
        return "none"
    last = chart.points[-1]
    if last.id in chart.signalling:
        return "signal"
    return "outside" if last.id in chart.outside else "within"


def _sentence(chart: SmallChart, units: Units, plant: Plant) -> str:
    """What the drawing shows, for whoever does not see it, and beside it for everybody."""
    today = ngettext("%(num)s point today", "%(num)s points today", chart.today)
    if not chart.points:
        return today
    if chart.signals_today:
        found = ngettext("%(num)s with a signal", "%(num)s with a signal", chart.signals_today)
    else:
        found = _("no signal") if chart.phase else _("no limits are frozen yet")
    last = chart.points[-1]
    time = local_time(last.measured_at, plant, "HH:mm")
    off = difference(chart.stream.quantity, last.deviation, units)
    if not chart.has_target:
        value = amount(chart.stream.quantity, last.deviation, units)
        return _(
            "%(today)s, %(found)s; the last at %(time)s: %(value)s.",
            today=today,
            found=found,
            time=time,
            value=value,
        )
    return _(
        "%(today)s, %(found)s; the last at %(time)s: %(off)s from target.",
        today=today,
        found=found,
        time=time,
        off=off,
    )
