"""Who may do what. Pages and acts both ask here."""

from enum import StrEnum

from qc_app.phrase import phrase
from qc_app.records.shop import Person
from qc_app.refusal import Refusal


class Role(StrEnum):
    """What somebody is in the shop."""

    WORKER = "worker"
    LEAD = "lead"
    QUALITY_MANAGER = "quality_manager"


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


_EVERYONE = frozenset(Role)
_LEADING = frozenset({Role.LEAD, Role.QUALITY_MANAGER})
_QUALITY = frozenset({Role.QUALITY_MANAGER})

MAY: dict[Act, frozenset[Role]] = {
    Act.RECORD: _EVERYONE,
    Act.LOOK: _EVERYONE,
    Act.BOOK_IN_LOTS: _EVERYONE,
    Act.FREEZE_LIMITS: _QUALITY,
    Act.IMPORT: _QUALITY,
    Act.EXPORT: _LEADING,
    Act.HAND_OVER: _LEADING,
    Act.KEEP_SHOP: _QUALITY,
    Act.KEEP_TABLETS: _QUALITY,
    Act.IMPORT_OUTBOX: _LEADING,
    Act.CLOSE_NOTICES: _LEADING,
    Act.RELEASE: _LEADING,
}


class NotAllowed(Refusal):
    """The person's role may not do this."""


def may(person: Person, act: Act) -> bool:
    """Whether the person's role may do the act."""
    return person.active and Role(person.role) in MAY[act]


def require(person: Person, act: Act) -> None:
    """Raises NotAllowed unless the person may do the act."""
    if not may(person, act):
        raise NotAllowed("{name} may not {act}.", name=person.name, act=act.value)
