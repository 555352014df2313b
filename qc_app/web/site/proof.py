"""What is proven of a building, for the customer: read only, and no chart or name of the shop."""

from flask import Blueprint, render_template
from werkzeug.wrappers import Response

from qc_app.web.access import allow
from qc_app.web.request import now, person, reading_session
from qc_app.web.site.own_building import own_building
from qc_app.work import find
from qc_app.work.proof import proof_of
from qc_app.work.roles import Act
from qc_app.work.withdrawn import withdrawn_since

pages = Blueprint("proof", __name__)


@pages.get("/proof")
@allow(Act.FOLLOW_BUILDING)
def home() -> str | Response:
    """The customer's building; whoever sees several chooses one."""
    return own_building("proof.building")


@pages.get("/proof/<int:building_id>")
@allow(Act.FOLLOW_BUILDING)
def building(building_id: int) -> str:
    """All panels of a building with what is proven of each."""
    session = reading_session()
    shown = find.building(session, person(), building_id)
    proofs = proof_of(session, person(), shown, now())
    withdrawn = withdrawn_since(session, person(), shown)
    return render_template("proof.html", title=shown.name, building=shown, proofs=proofs, withdrawn=withdrawn)
