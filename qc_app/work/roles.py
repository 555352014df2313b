"""Who may do what. Pages and acts both ask here."""

from enum import StrEnum

from qc_app.phrase import phrase
from qc_app.records.shop import Person
from qc_app.refusal import Refusal


class Role(StrEnum):
    """What somebody is in the shop, on site, or to the shop."""

    WORKER = "worker"
    LEAD = "lead"
    QUALITY_MANAGER = "quality_manager"
    SITE_LEAD = "site_lead"
    CUSTOMER = "customer"
    ADMINISTRATOR = "administrator"


OF_ONE_BUILDING = frozenset({Role.SITE_LEAD, Role.CUSTOMER})
"""Roles that see the building of their ``Person.building_id`` and nothing else."""

LAST_ONE_STAYS = frozenset({Role.QUALITY_MANAGER, Role.ADMINISTRATOR})
"""Roles whose last holder in a plant can neither be given another role nor be shut out."""


class Act(StrEnum):
    """What can be done."""

    RECORD = phrase("record readings")
    LOOK = phrase("look at panels and charts")
    BOOK_IN_LOTS = phrase("book in lots")
    FREEZE_LIMITS = phrase("freeze control limits")
    IMPORT = phrase("import files")
    EXPORT = phrase("export readings")
    HAND_OVER = phrase("make handover packets")
    KEEP_SHOP = phrase("keep people and instruments")
    KEEP_TABLETS = phrase("invite and revoke tablets")
    IMPORT_OUTBOX = phrase("take in the file of an outbox")
    CLOSE_NOTICES = phrase("close notices")
    RELEASE = phrase("release panels")
    OPEN_NONCONFORMITY = phrase("open nonconformities")
    DECIDE_REWORK = phrase("decide how nonconformities are put right")
    DECIDE_CONCESSION = phrase("accept panels as they are, or scrap them")
    HOLD = phrase("put panels on hold")
    LIFT_HOLD = phrase("lift holds")
    VISIT = phrase("sign in and out, and choose a language")
    SCAN = phrase("scan labels")
    FOLLOW_BOARD = phrase("follow the board of the shop")
    FOLLOW_BUILDING = phrase("see what is proven of a building")
    FOLLOW_SITE = phrase("see what is raised next")
    SET_PANEL = phrase("say that panels are set")
    SEE_INSTRUMENTS = phrase("see instruments and their checks")
    PLAN_LOADS = phrase("plan loads, and say what is loaded")
    EDIT_PLAN = phrase("edit and adopt the control plan")


_ANY_ROLE = frozenset(Role)
_SHOP = frozenset({Role.WORKER, Role.LEAD, Role.QUALITY_MANAGER})
_LEADING = frozenset({Role.LEAD, Role.QUALITY_MANAGER})
_QUALITY = frozenset({Role.QUALITY_MANAGER})
_KEEPING = frozenset({Role.QUALITY_MANAGER, Role.ADMINISTRATOR})

MAY: dict[Act, frozenset[Role]] = {
    Act.RECORD: _SHOP,
    Act.LOOK: _SHOP,
    Act.BOOK_IN_LOTS: _SHOP,
    Act.FREEZE_LIMITS: _QUALITY,
    Act.IMPORT: _QUALITY,
    Act.EXPORT: _LEADING,
    Act.HAND_OVER: _LEADING | {Role.CUSTOMER},
    Act.KEEP_SHOP: _KEEPING,
    Act.KEEP_TABLETS: _KEEPING,
    Act.IMPORT_OUTBOX: _LEADING,
    Act.CLOSE_NOTICES: _LEADING,
    Act.RELEASE: _LEADING,
    Act.OPEN_NONCONFORMITY: _SHOP,
    Act.DECIDE_REWORK: _LEADING,
    Act.DECIDE_CONCESSION: _QUALITY,
    Act.HOLD: _SHOP,
    Act.LIFT_HOLD: _LEADING,
    Act.VISIT: _ANY_ROLE,
    Act.SCAN: _SHOP | {Role.SITE_LEAD},
    Act.FOLLOW_BOARD: _LEADING,
    Act.FOLLOW_BUILDING: _LEADING | {Role.CUSTOMER},
    Act.FOLLOW_SITE: _LEADING | {Role.SITE_LEAD},
    Act.SET_PANEL: _LEADING | {Role.SITE_LEAD},
    Act.SEE_INSTRUMENTS: _LEADING | {Role.ADMINISTRATOR},
    Act.PLAN_LOADS: _LEADING,
    Act.EDIT_PLAN: _QUALITY,
}


class NotAllowed(Refusal):
    """The person's role may not do this."""


def may(person: Person, act: Act) -> bool:
    """Whether the person's role may do the act. What the table does not name nobody may."""
    return person.active and Role(person.role) in MAY.get(act, frozenset())


def require(person: Person, act: Act) -> None:
    """Raises NotAllowed unless the person may do the act."""
    if not may(person, act):
        raise NotAllowed("{name} may not {act}.", name=person.name, act=act.value)
