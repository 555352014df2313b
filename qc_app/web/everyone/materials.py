"""Lots of material: all of them, each with the panels it went into, and their labels."""

from flask import Blueprint, current_app, render_template, request, url_for
from flask_babel import gettext as _

from qc_app.records.building import Lot
from qc_app.records.material import MaterialLot
from qc_app.web.access import allow
from qc_app.web.code import code_of
from qc_app.web.request import now, person, reading_session
from qc_app.work.materials import MATERIALS, is_wet, lot_of_mark, lots_of, moisture_limit, uses_of_lot
from qc_app.work.roles import Act

pages = Blueprint("materials", __name__)


@pages.get("/lots")
@allow(Act.LOOK)
def overview() -> str:
    """All lots of material, newest first."""
    session = reading_session()
    limit = moisture_limit(session, person(), now())
    lots = lots_of(session, person())
    wet = {lot.id for lot in lots if is_wet(lot, limit)}
    return render_template("materials.html", title=_("Lots of material"), lots=lots, wet=wet)


@pages.get("/lots/labels")
@allow(Act.LOOK)
def labels() -> str:
    """One label for each lot, to be printed."""
    labelled = [(lot, code_of(_address(lot))) for lot in lots_of(reading_session(), person())]
    return render_template("material_labels.html", title=_("Labels of lots"), labels=labelled)


@pages.get("/l/<path:mark>")
@allow(Act.LOOK)
def lot(mark: str) -> str:
    """One lot, of material or of members, with every panel it went into."""
    session = reading_session()
    shown = lot_of_mark(session, person(), mark)
    limit = moisture_limit(session, person(), now())
    return render_template(
        "material.html",
        lot=shown,
        is_material=isinstance(shown, MaterialLot),
        is_wet=is_wet(shown, limit),
        limit=limit,
        uses=uses_of_lot(session, shown),
    )


@pages.app_template_global()
def material_word(material: str) -> str:
    """The word for a material."""
    return _(MATERIALS[material])


def _address(shown: MaterialLot | Lot) -> str:
    """The lot's address at the host by which this page was opened, over TLS wherever there is any."""
    scheme = "https" if current_app.config["SESSION_COOKIE_SECURE"] else request.scheme
    return url_for("materials.lot", mark=shown.mark, _external=True, _scheme=scheme)
