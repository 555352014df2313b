"""Whether the mass blown into a bay and a core out of it tell the same density.

The two are independent: a void, a leak, a miscounted bag or a core that took in too much shows as a
difference that neither uncertainty explains.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from qc_app.measure.fill import agreement_of
from qc_app.phrase import phrase
from qc_app.records.building import Panel
from qc_app.records.reading import Reading
from qc_app.work.standing import Item, readings_of, standing


@dataclass(frozen=True)
class FillAgreement:
    """What a bay's mass and its core say of one density; both readings stand.

    ``normalised_error`` is that of the fill against the core (``measure.fill.agreement``): below −1 the mass
    says less than the core, above 1 more.
    """

    place: str
    fill: Reading
    core: Reading
    normalised_error: float
    agrees: bool

    @property
    def advice(self) -> str | None:
        """What to do about it, a phrase to be translated where it is shown; None where the two agree."""
        if self.agrees:
            return None
        return MORE_IN_CORE if self.normalised_error < 0 else LESS_IN_CORE


MORE_IN_CORE = phrase(
    "The core is denser than the mass blown into this bay allows. Look for a void away from the core, and "
    "check the mass and the depth of the core."
)
LESS_IN_CORE = phrase(
    "The mass blown into this bay should have made the core denser. Look for a leak into another bay or a "
    "void at the core, and check the mass."
)


def fill_agreements(session: Session, item: Item) -> tuple[FillAgreement, ...]:
    """For each bay with both a mass and a core whose uncertainties are known, in order of the bays."""
    return agreements_of(item, standing(readings_of(session, item)).values())


def agreements_of(item: Item, newest: Iterable[Reading]) -> tuple[FillAgreement, ...]:
    """As ``fill_agreements``, of readings that stand."""
    if not isinstance(item, Panel):
        return ()
    listed = [reading for reading in newest if reading.standard_uncertainty]
    fills, cores = _by_bay(item, listed, "fill"), _by_bay(item, listed, "core")
    places = [f"bay {bay.number}" for bay in item.subject.bays]
    return tuple(
        _compared(fills[place], cores[place]) for place in places if place in fills and place in cores
    )


def _by_bay(panel: Panel, readings: Iterable[Reading], method: str) -> Mapping[str, Reading]:
    plan = panel.control_plan.plan
    return {
        reading.place: reading
        for reading in readings
        if plan.characteristic(panel.kind, reading.characteristic.key).method.key == method
    }


def _compared(fill: Reading, core: Reading) -> FillAgreement:
    found = agreement_of(
        fill.amount, fill.standard_uncertainty or 0, core.amount, core.standard_uncertainty or 0
    )
    return FillAgreement(fill.place, fill, core, found.normalised_error, found.agrees)
