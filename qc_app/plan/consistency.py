"""Whether the parts of a control plan fit together."""

from itertools import pairwise

from qc_app.plan.characteristic import Basis, Characteristic, Each, Source
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.method import METHODS
from qc_app.plan.quantity import NANOMETRES_PER_INCH, Quantity
from qc_app.refusal import Refusal

MOST_MEMBERS = 99
"""Members of a lot that can be told apart by number."""


def check_plan(plan: ControlPlan) -> None:
    """Raises Refusal at the first thing that no panel could be measured by.

    That is an unknown station or kind, a station that the kind does not pass, a characteristic checked twice
    on one kind, or limits, a target or places that cannot be worked out. ``about`` names the key of the
    characteristic that is at fault, where it is one.
    """
    for kind in plan.kinds:
        for station in kind.route:
            plan.station(station)
    seen = set()
    for characteristic in plan.characteristics:
        _check_names(plan, characteristic)
        if (characteristic.kind, characteristic.key) in seen:
            raise Refusal(
                "The control plan checks “{key}” twice on {kind}.",
                key=characteristic.key,
                kind=plan.kind(characteristic.kind).name,
            )
        seen.add((characteristic.kind, characteristic.key))
        _check_place(characteristic)
        _check_limits(characteristic)
        _check_target(characteristic)
        _check_numbers(characteristic)


def _check_names(plan: ControlPlan, characteristic: Characteristic) -> None:
    station, kind = plan.station(characteristic.station), plan.kind(characteristic.kind)
    if station.key not in kind.route:
        raise Refusal(
            "{name} is checked at {station}, which {kind} does not pass.",
            name=characteristic.name,
            station=station.name,
            kind=kind.name,
        )


def _check_place(characteristic: Characteristic) -> None:
    if characteristic.method is METHODS["fill"] and characteristic.each is not Each.BAY:
        raise Refusal("A mass of fill needs a reading in each bay; see {name}.", name=characteristic.name)


def _check_limits(characteristic: Characteristic) -> None:
    name, tolerance = characteristic.name, characteristic.tolerance
    ends: list[tuple[int | None, int | None]]
    if characteristic.basis is Basis.BANDED:
        if characteristic.each is not Each.BAY or not characteristic.bands:
            raise Refusal("Banded limits need bands, and a reading in each bay; see {name}.", name=name)
        _check_order(characteristic)
        ends = [(band.lower, band.upper) for band in characteristic.bands]
    elif (characteristic.basis is Basis.PRO_RATA) != (tolerance.per is not None):
        raise Refusal("Pro rata limits, and only these, say per which length; see {name}.", name=name)
    elif tolerance.lower is None and tolerance.upper is None:
        raise Refusal("Every characteristic needs limits of tolerance; {name} has none.", name=name)
    else:
        ends = [(tolerance.lower, tolerance.upper)]
    if any(lower is not None and upper is not None and lower > upper for lower, upper in ends):
        raise Refusal("The lower limit of {name} is above its upper limit.", about="limits", name=name)


def _check_order(characteristic: Characteristic) -> None:
    for before, band in pairwise(characteristic.bands):
        if band.depth_up_to <= before.depth_up_to:
            raise Refusal(
                "Bands of {name} go from shallow to deep and do not overlap: each depth_up_to is more than "
                "the one before. Given: {given} in after {before} in.",
                about="limits",
                name=characteristic.name,
                given=band.depth_up_to / NANOMETRES_PER_INCH,
                before=before.depth_up_to / NANOMETRES_PER_INCH,
            )


def _check_target(characteristic: Characteristic) -> None:
    name, source = characteristic.name, characteristic.source
    if source not in (Source.FIXED, Source.NONE) and characteristic.quantity is not Quantity.LENGTH:
        raise Refusal("The target of {name} is a length, but its readings are not.", name=name)
    if source is Source.CONNECTOR and characteristic.each is not Each.CONNECTOR:
        raise Refusal("The target of {name} needs a reading at each connector.", name=name)
    if characteristic.tolerance.from_target and source is Source.NONE:
        raise Refusal("{name} has limits either side of a target, but no target.", name=name)
    if any(not _lies_between(*ends) for ends in _targets(characteristic)):
        raise Refusal(
            "The target of {name} is outside its limits; it is between them or on one of them.",
            about="target",
            name=name,
        )


def _targets(characteristic: Characteristic) -> list[tuple[int | None, int | None, int | None]]:
    """Each target with its lower and upper limit, as far as the plan itself says them."""
    tolerance = characteristic.tolerance
    if characteristic.basis is Basis.BANDED:
        return [(band.target, band.lower, band.upper) for band in characteristic.bands]
    target = 0 if tolerance.from_target else characteristic.target
    return [(target, tolerance.lower, tolerance.upper)]


def _lies_between(target: int | None, lower: int | None, upper: int | None) -> bool:
    return target is None or ((lower is None or lower <= target) and (upper is None or target <= upper))


def _check_numbers(characteristic: Characteristic) -> None:
    if characteristic.every < 1:
        raise Refusal("{name} is checked on every n-th panel; n is 1 or more.", name=characteristic.name)
    if not 0 <= characteristic.sample <= MOST_MEMBERS:
        raise Refusal(
            "A sample of {name} has at most {most}, and not fewer than 0. Given: {given}.",
            name=characteristic.name,
            most=MOST_MEMBERS,
            given=characteristic.sample,
        )
