"""What a control plan says, in words: targets, limits, how often, and what differs between versions."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from flask_babel import gettext, ngettext
from flask_babel import gettext as _

from qc_app.phrase import phrase
from qc_app.plan.characteristic import Band, Basis, Characteristic, Each, Source, Tolerance
from qc_app.plan.comparison import Difference, LimitsSaid, Part, TargetSaid
from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.quantity import MINUS, Quantity, Units
from qc_app.web.plan_words import plan_word
from qc_app.web.show import amount, instrument_word, limits, rule_word

TARGETS = {
    Source.LENGTH: phrase("length of the panel"),
    Source.WIDTH: phrase("width of the panel"),
    Source.DEPTH: phrase("depth of the panel"),
    Source.CONNECTOR: phrase("as scheduled for each connector"),
    Source.NONE: phrase("none"),
}
EACH = {
    Each.BAY: phrase("each bay"),
    Each.CONNECTOR: phrase("each connector"),
    Each.MEMBER: phrase("members"),
    Each.PENETRATION: phrase("each penetration"),
}
DECISION_RULES = {
    "simple_acceptance": phrase("within its limits is within"),
    "guarded_acceptance": phrase("nearer inside a limit than the uncertainty is unclear"),
    "guarded_rejection": phrase("nearer outside a limit than the uncertainty is unclear"),
}
METHODS = {
    "tape": phrase("a length on a tape"),
    "difference_of_diagonals": phrase("difference of diagonals"),
    "lean_over_width": phrase("lean over the width"),
    "fill": phrase("mass of fill in a bay"),
    "core": phrase("core sample"),
    "meter": phrase("moisture meter"),
    "check": phrase("check by eye"),
}
PUT_RIGHT = {
    "here": phrase("at the station: a new reading within closes it"),
    "lead": phrase("the shop lead decides first"),
}
OVERDUE = {"refuse": phrase("refused"), "flag": phrase("taken, with a flag")}
FIELDS = {
    "name": phrase("name"),
    "station": phrase("station"),
    "method": phrase("way of measuring"),
    "how": phrase("how to measure"),
    "places": phrase("places"),
    "each": phrase("measured at"),
    "sample": phrase("sample"),
    "every": phrase("how often"),
    "target": phrase("target"),
    "limits": phrase("limits"),
    "decision_rule": phrase("decision rule"),
    "instruments": phrase("instruments"),
    "together": phrase("typed together with"),
    "put_right": phrase("who puts right"),
    "signal_holds": phrase("a chart signal holds the panel"),
    "overdue_instrument": phrase("overdue instrument"),
    "cautions": phrase("cautions"),
    "hold_point": phrase("hold point"),
    "route": phrase("route"),
    "is_lot": phrase("is a lot"),
    "rules": phrase("run rules of charts"),
    "uncertainty": phrase("standard uncertainty"),
    "translation": phrase("translation"),
    "order of stations": phrase("order of stations"),
    "order of checks": phrase("order of checks"),
}
"""What each thing that can differ is called; a new one is shown by its own name."""


def target_words(quantity: Quantity, target: TargetSaid, units: Units) -> str:
    """Where a target comes from, or its amount."""
    if target.source == Source.FIXED and target.amount is not None:
        return amount(quantity, target.amount, units)
    return gettext(TARGETS[Source(target.source)])


def limits_words(quantity: Quantity, said: LimitsSaid, units: Units) -> list[str]:
    """Limits in words; one line for each band."""
    if said.basis is Basis.BANDED:
        return [_band(quantity, band, units) for band in said.bands]
    words = [_tolerance(quantity, said.tolerance, units)]
    if said.tolerance.rounded_to is not None:
        unit = amount(quantity, said.tolerance.rounded_to, units)
        words.append(_("after rounding to %(unit)s", unit=unit))
    return words


def frequency_words(characteristic: Characteristic) -> str:
    """Where and how often a characteristic is measured."""
    words = [_where(characteristic)]
    if characteristic.every > 1:
        words.append(_("on the first and each %(number)s. panel", number=characteristic.every))
    return ", ".join(word for word in words if word)


def difference_words(
    difference: Difference, old: ControlPlan, new: ControlPlan, units: Units
) -> dict[str, str]:
    """What a difference is about, what was and what is, each in words."""
    say = _sayer(difference, old, new, units)
    return {
        "about": _about(difference, new, old),
        "change": difference.change,
        "field": gettext(FIELDS.get(difference.field, difference.field)) if difference.field else "",
        "was": say(difference.was),
        "now": say(difference.now),
    }


def said_limits(characteristic: Characteristic) -> LimitsSaid:
    """The limits of a characteristic as one thing."""
    return LimitsSaid(characteristic.basis, characteristic.tolerance, characteristic.bands)


def target_of(characteristic: Characteristic, units: Units) -> str:
    """The target of a characteristic in words."""
    if characteristic.basis is Basis.BANDED:
        return _("by the depth of the bay")
    return target_words(characteristic.quantity, said_target(characteristic), units)


def said_target(characteristic: Characteristic) -> TargetSaid:
    """The target of a characteristic as one thing."""
    return TargetSaid(characteristic.source, characteristic.target)


def _tolerance(quantity: Quantity, tolerance: Tolerance, units: Units) -> str:
    if not tolerance.from_target:
        return limits(quantity, tolerance.lower, tolerance.upper, units)
    plus, minus = tolerance.upper or 0, -(tolerance.lower or 0)
    if plus == minus:
        words = f"± {amount(quantity, plus, units)}"
    else:
        words = f"+{amount(quantity, plus, units)} / {MINUS}{amount(quantity, minus, units)}"
    if tolerance.per is None:
        return words
    return _(
        "%(limits)s for each %(length)s", limits=words, length=amount(Quantity.LENGTH, tolerance.per, units)
    )


def _band(quantity: Quantity, band: Band, units: Units) -> str:
    return _(
        "up to %(depth)s deep: %(limits)s, target %(target)s",
        depth=amount(Quantity.LENGTH, band.depth_up_to, units),
        limits=limits(quantity, band.lower, band.upper, units),
        target=amount(quantity, band.target, units),
    )


def _where(characteristic: Characteristic) -> str:
    if characteristic.each is None:
        return ", ".join(plan_word(place) for place in characteristic.places) or _("once")
    if characteristic.sample and characteristic.each is Each.BAY:
        return ngettext(
            "%(num)s bay, named by the log", "%(num)s bays, named by the log", characteristic.sample
        )
    if characteristic.each is Each.MEMBER:
        return ngettext("%(num)s member", "%(num)s members", characteristic.sample)
    return gettext(EACH[characteristic.each])


def _about(difference: Difference, new: ControlPlan, old: ControlPlan) -> str:
    if difference.part is Part.PLAN:
        return difference.key
    words = plan_word(difference.name)
    kinds = {kind.key: kind.name for plan in (old, new) for kind in plan.kinds}
    if difference.kinds:
        words += f" ({', '.join(plan_word(kinds[kind]) for kind in difference.kinds)})"
    return words


def _sayer(difference: Difference, old: ControlPlan, new: ControlPlan, units: Units) -> Callable[[Any], str]:
    def say(value: Any) -> str:
        if isinstance(value, LimitsSaid):
            return "; ".join(limits_words(_quantity(difference, old, new), value, units))
        if isinstance(value, TargetSaid):
            return target_words(_quantity(difference, old, new), value, units)
        if difference.field == "uncertainty" and value is not None:
            return _uncertainty(difference.key, value, units)
        return _value(difference.field, value)

    return say


def _uncertainty(kind: str, value: int, units: Units) -> str:
    measured = {"scale": Quantity.MASS, "moisture_meter": Quantity.MOISTURE, "bay_volume": Quantity.MOISTURE}
    quantity = measured.get(kind, Quantity.LENGTH)
    return f"{value / 1_000_000:g} g" if quantity is Quantity.MASS else amount(quantity, value, units)


def _quantity(difference: Difference, old: ControlPlan, new: ControlPlan) -> Quantity:
    for plan in (new, old):
        for characteristic in plan.characteristics:
            if characteristic.key == difference.key:
                return characteristic.quantity
    return Quantity.COUNT


def _value(field: str, value: Any) -> str:
    known: Mapping[str, Mapping[Any, str]] = {
        "decision_rule": DECISION_RULES,
        "method": METHODS,
        "put_right": PUT_RIGHT,
        "overdue_instrument": OVERDUE,
        "each": EACH,
    }
    if value is None:
        return _("none")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if field in known:
        return gettext(known[field][value])
    if isinstance(value, tuple):
        return ", ".join(_part(field, str(part)) for part in value) or _("none")
    return str(value) or _("none")


def _part(field: str, part: str) -> str:
    if field == "rules":
        return rule_word(part)
    return instrument_word(part) if field == "instruments" else plan_word(part)


def say_known(words: Mapping[Any, str], key: str) -> str:
    """The words for one of several known values, in the language of the page."""
    return gettext(words[key])


def by_check(plan: ControlPlan, station: str) -> list[list[Characteristic]]:
    """The characteristics at a station, those that say the same for several kinds of panel together."""
    together: dict[Characteristic, list[Characteristic]] = {}
    for characteristic in plan.characteristics:
        if characteristic.station == station:
            together.setdefault(replace(characteristic, kind=""), []).append(characteristic)
    return list(together.values())
