"""Control charts: overview, the dashboard of a station, one chart with its limits."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response as AnyResponse
from wtforms import DateField, HiddenField, TextAreaField
from wtforms.validators import InputRequired

from qc_app.records.chart import Stream
from qc_app.records.shop import Plant
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import rule_word
from qc_app.work import charts as work
from qc_app.work import find
from qc_app.work.charts import Chart, chart, false_signals, streams_at
from qc_app.work.roles import Act
from qc_app.work.setup import local_zone
from qc_app.work.streams import BaseDoubted, freeze_limits

pages = Blueprint("charts", __name__)


class LimitsForm(FlaskForm):
    """The base period whose points set the limits, and why."""

    first_day = DateField(_l("First day of the base period"), [InputRequired(_l("Choose the first day."))])
    last_day = DateField(_l("Last day of the base period"), [InputRequired(_l("Choose the last day."))])
    reason = TextAreaField(_l("Why this period"), [InputRequired(_l("Say why; it stays with the limits."))])
    despite = HiddenField()

    @property
    def base(self) -> str:
        """The period as it was typed: sent again the same, what speaks against it is known."""
        return f"{self.first_day.data} {self.last_day.data}"


@pages.get("/chart")
@allow(Act.LOOK)
def overview() -> str:
    return render_template("charts.html", lines=work.overview(reading_session(), person()))


@pages.get("/chart/station/<key>")
@allow(Act.LOOK)
def station(key: str) -> str:
    """The dashboard of a station: all its charts."""
    session = reading_session()
    shown = find.station(session, person(), key)
    return render_template(
        "charts_station.html",
        station=shown,
        charts=[chart(session, s) for s in streams_at(session, shown)],
        finding=finding,
        promise=promise,
    )


@pages.route("/chart/<int:stream_id>", methods=["GET"])
@allow(Act.LOOK)
def stream(stream_id: int) -> str:
    shown = find.stream(reading_session(), person(), stream_id)
    return _page(shown, LimitsForm())


@pages.post("/chart/<int:stream_id>/limits")
@allow(Act.FREEZE_LIMITS)
def limits(stream_id: int) -> str | AnyResponse | tuple[str, int]:
    """Freezes control limits from a base period."""
    shown, form = find.stream(reading_session(), person(), stream_id), LimitsForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                freeze_limits(
                    session,
                    person_in(session),
                    session.get_one(Stream, stream_id),
                    _period(form, person().plant),
                    form.reason.data or "",
                    now(),
                    despite=form.despite.data == form.base,
                )
            return redirect(url_for("charts.stream", stream_id=stream_id))
        except BaseDoubted as doubted:
            form.despite.data = form.base
            return _page(shown, form, doubted.reservations), 200
        except Refusal as refusal:
            take_refusal(form, refusal, "first_day")
    return _page(shown, form), 400


@pages.get("/chart/<int:stream_id>/figure.json")
@allow(Act.LOOK)
def figure_json(stream_id: int) -> Response:
    from qc_app.web.quality.figure import figure

    shown = find.stream(reading_session(), person(), stream_id)
    plant = person().plant
    return Response(
        figure(chart(reading_session(), shown, _until()), plant.units, plant), mimetype="application/json"
    )


def _page(shown: Stream, form: LimitsForm, reservations: Sequence[str] = ()) -> str:
    drawn = chart(reading_session(), shown, _until())
    return render_template(
        "chart.html",
        chart=drawn,
        form=form,
        finding=finding(drawn),
        promise=promise(drawn),
        reservations=reservations,
    )


def finding(drawn: Chart) -> str:
    """One sentence on what a chart shows."""
    if not drawn.stream.phases:
        return _(
            "%(count)s points; no limits are frozen yet, so nothing is signalled.", count=len(drawn.points)
        )
    signalling = drawn.signalling
    if not signalling:
        return _("%(count)s points, no signal.", count=len(drawn.points))
    return _(
        "%(count)s points, %(signals)s with a signal, the last at %(mark)s.",
        count=len(drawn.points),
        signals=len(signalling),
        mark=signalling[0].mark,
    )


def promise(drawn: Chart) -> str:
    """One sentence on how often a chart signals falsely; empty while it has no limits."""
    expected = false_signals(drawn)
    if expected is None:
        return ""
    return _(
        "Watched: %(rules)s. With nothing changed these signal falsely at about one point in %(points)s, "
        "here once in %(days)s working days; a shift of one sigma is found after about %(found)s points.",
        rules=", ".join(rule_word(rule).lower() for rule in drawn.stream.phases[-1].rules),
        points=round(expected.points_between),
        days=round(expected.days_between),
        found=round(expected.points_until_found),
    )


def _until() -> datetime | None:
    """Where an older stretch of a chart ends, from the address."""
    try:
        return datetime.fromtimestamp(float(request.args["until"]), UTC)
    except (KeyError, ValueError, OverflowError, OSError):
        return None


def _period(form: LimitsForm, plant: Plant) -> tuple[datetime, datetime]:
    """The chosen days as times, from the start of the first to the end of the last on the plant's clock."""
    first, last = form.first_day.data, form.last_day.data
    assert first is not None  # noqa: S101 - the form was valid
    assert last is not None  # noqa: S101
    return _midnight(first, plant), _midnight(last + timedelta(days=1), plant)


def _midnight(day: date, plant: Plant) -> datetime:
    return datetime.combine(day, time(), local_zone(plant)).astimezone(UTC)
