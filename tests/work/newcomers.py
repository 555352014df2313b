"""People of the roles that the small cast leaves out, and a second building for them to see or not to see."""

from dataclasses import dataclass

from qc_app.records.database import Database
from qc_app.work import find
from qc_app.work.people import add_person
from qc_app.work.roles import Role
from qc_app.work.schedule import add_building, add_panel
from tests.conftest import NOW, PASSWORD, Cast, roof_panel


@dataclass(frozen=True)
class Newcomers:
    """Numbers of an administrator, and of site crew leads and customers of the cast's building and of H2."""

    administrator: int
    site_lead: int
    customer: int
    other_site_lead: int
    other_customer: int
    other_building: int
    other_panel: int


def add_newcomers(database: Database, cast: Cast) -> Newcomers:
    """Adds them all to the cast's plant."""
    with database.write() as session:
        manager = cast.person(session, "manager")
        first = find.building(session, manager, cast.building)
        second = add_building(session, manager, "H2", "Millpond Cottage", NOW)
        panel = add_panel(session, manager, second, roof_panel("R-77"), NOW)

        def add(name: str, sign_in_name: str, role: Role) -> int:
            building = second if sign_in_name.endswith("2") else first
            return add_person(session, manager, name, sign_in_name, role, PASSWORD, NOW, building).id

        return Newcomers(
            add("Ada Byrd", "ada", Role.ADMINISTRATOR),
            add("Sol Marsh", "sol", Role.SITE_LEAD),
            add("Cleo Fenn", "cleo", Role.CUSTOMER),
            add("Rafe Dunn", "rafe2", Role.SITE_LEAD),
            add("Nell Ware", "nell2", Role.CUSTOMER),
            second.id,
            panel.id,
        )
