"""The pages on which lots are booked in, of pre-cut members and of material; they go through the outbox."""

from flask import Blueprint, render_template
from flask_babel import gettext as _

from qc_app.web.access import allow
from qc_app.web.request import now, reading_session, visitor
from qc_app.work.materials import MATERIALS
from qc_app.work.roles import Act
from qc_app.work.setup import plan_in_force

pages = Blueprint("lots", __name__)


@pages.get("/lot")
@allow(Act.BOOK_IN_LOTS, tablets=True)
def book_in() -> str:
    """What a new lot is asked for."""
    plant = visitor().plant
    kinds = [kind for kind in plan_in_force(reading_session(), plant, now()).plan.kinds if kind.is_lot]
    return render_template("lot_new.html", kinds=kinds, units=plant.units, title=_("Book in a lot"))


@pages.get("/material")
@allow(Act.BOOK_IN_LOTS, tablets=True)
def receive() -> str:
    """What a new lot of material is asked for."""
    return render_template(
        "material_new.html",
        materials=MATERIALS,
        units=visitor().plant.units,
        title=_("Book in material"),
    )
