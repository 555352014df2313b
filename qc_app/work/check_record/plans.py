"""Whether the versions of a control plan are those that were adopted."""

import hashlib
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.chain import Link
from qc_app.records.control_plan import ControlPlan
from qc_app.records.shop import Plant
from qc_app.work.check_record.place import Chain, event_words

TELLING = "control plan adopted"


class PlansCheck:
    """The versions of one plant. Each event about one is ``hear``d; then ``left`` has no event."""

    def __init__(self, session: Session, chain: Chain) -> None:
        self._chain = chain
        of_plant = select(ControlPlan.version, ControlPlan.reason, ControlPlan.document)
        self._stored = {
            version: (reason, hashlib.sha256(document.encode()).hexdigest())
            for version, reason, document in session.execute(
                of_plant.where(ControlPlan.plant_id == chain.owner_id)
            )
            if chain.owner is Plant
        }

    def hear(self, link: Link) -> Iterator[str]:
        """What does not fit between an event and the version it tells of. Older events hold no hash."""
        version, where = link.facts.get("version", 0), event_words(self._chain, link)
        stored = self._stored.pop(version, None)
        if stored is None:
            yield f"{where}: version {version} of the control plan is not in the table."
            return
        reason, sha256 = stored
        if link.facts.get("reason") != reason:
            yield f"{where}: version {version} of the control plan has another reason in the table."
        if link.facts.get("sha256", sha256) != sha256:
            yield f"{where}: the document of version {version} of the control plan is not the one adopted."

    def left(self) -> Iterator[str]:
        """Versions in the table that no event tells of."""
        for version in sorted(self._stored):
            yield f"{self._chain.words}: no event tells of version {version} of the control plan."
