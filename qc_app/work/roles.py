"""Who may do what. Pages and acts both ask here."""

from enum import StrEnum

from qc_app.records.shop import Person
from qc_app.refusal import Refusal


class Role(StrEnum):
    """What somebody is in the shop."""

    WORKER = "worker"
    LEAD = "lead"
    QUALITY_MANAGER = "quality_manager"


class Act(StrEnum):
    """What can be done."""

    RECORD = "record readings"
    LOOK = "look at panels and charts"
    BOOK_IN_LOTS = "book in lots"
    FREEZE_LIMITS = "freeze control limits"
    IMPORT = "import files"
    EXPORT = "export readings"
    HAND_OVER = "make handover packets"
    KEEP_SHOP = "keep people and instruments"
    KEEP_TABLETS = "invite and revoke tablets"
    IMPORT_OUTBOX = "take in the file of an outbox"
    CLOSE_NOTICES = "close notices"
    RELEASE = "release panels"


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
