"""How numbers, times and states are written on pages."""

from datetime import date, datetime

from flask import Flask
from flask_babel import format_date, format_datetime, gettext, ngettext
from flask_babel import gettext as _
from wtforms.fields import Field

from qc_app.measure.length import Length, format_length
from qc_app.phrase import phrase
from qc_app.plan.characteristic import Requirement
from qc_app.plan.method import Companion
from qc_app.plan.quantity import (
    MINUS,
    NANOMETRES_PER_INCH,
    Quantity,
    Units,
    format_amount,
    format_derived,
    format_difference,
    format_spread,
)
from qc_app.records.reading import Reading
from qc_app.records.shop import Plant
from qc_app.web.access import allowed_act
from qc_app.web.plan_words import plan_word
from qc_app.web.request import now, person, signed_in, tablet
from qc_app.work.roles import Act, may
from qc_app.work.setup import local_zone

RULE_WORDS = {
    "beyond_limit": phrase("One point beyond a control limit"),
    "run_one_side": phrase("Run on one side of the centre line"),
    "steady_trend": phrase("Steady trend"),
    "alternating": phrase("Alternating up and down"),
    "two_of_three_outer": phrase("Two of three beyond two sigma"),
    "four_of_five_outer": phrase("Four of five beyond one sigma"),
    "hugging_centre": phrase("Hugging the centre line"),
    "avoiding_centre": phrase("Avoiding the centre line"),
}


def install(app: Flask) -> None:
    """Gives templates these functions by name."""
    app.jinja_env.globals.update(
        amount=amount,
        aria=aria,
        difference=difference,
        limits=limits,
        typed=typed,
        spread=spread,
        signed=signed,
        inches=inches,
        conformance=conformance,
        local_time=local_time,
        companion=companion,
        plan_word=plan_word,
        role_word=role_word,
        standing_word=standing_word,
        day=day,
        verdict_word=verdict_word,
        rule_word=rule_word,
        trust_word=trust_word,
        instrument_word=instrument_word,
        signed_in=signed_in,
        may_open=may_open,
        key_size=key_size,
        now=now,
    )


def aria(field: Field) -> dict[str, str]:
    """The attributes that tie a form field to its hint and its error."""
    said = [f"{field.id}-error"] if field.errors else []
    said += [f"{field.id}-hint"] if field.description else []
    attributes = {"aria-invalid": "true"} if field.errors else {}
    return {**attributes, "aria-describedby": " ".join(said)} if said else attributes


def amount(quantity: Quantity, value: int, units: Units) -> str:
    """An amount in the shop's units; with its sign where it is below zero."""
    if quantity == Quantity.COUNT:
        return ngettext("%(num)s fault", "%(num)s faults", value) if value else _("no faults")
    return format_difference(quantity, value, units) if value < 0 else format_amount(quantity, value, units)


def difference(quantity: Quantity, value: int, units: Units) -> str:
    """A signed deviation in the shop's units."""
    return format_difference(quantity, value, units)


def signed(inches_off: float, units: Units) -> str:
    """A small length given in inches, with its sign, finer than a tape and in the shop's unit."""
    return format_derived(Quantity.LENGTH, inches_off * NANOMETRES_PER_INCH, units)


def inches(length: float, units: Units) -> str:
    """A length given in inches as the shop writes it, to its tape's graduation."""
    return format_length(Length.from_inches(length), units.denominator, units.system)


def spread(reading: Reading, units: Units) -> str:
    """The expanded uncertainty of a reading; empty where it is not known."""
    return format_spread(reading.quantity, reading.standard_uncertainty, units)


def conformance(reading: Reading) -> str:
    """How probable it is that the true value is within the limits, in words; empty where it is not known."""
    if not reading.standard_uncertainty:
        return ""
    requirement = Requirement(reading.target, reading.lower, reading.upper)
    probability = requirement.conformance(reading.amount, reading.standard_uncertainty)
    if probability is None:
        return ""
    percent = "> 99 %" if probability > 0.99 else "< 1 %" if probability < 0.01 else f"{probability:.0%}"
    return _("truly within: %(probability)s", probability=percent.replace("%", " %").replace("  ", " "))


def limits(quantity: Quantity, lower: int | None, upper: int | None, units: Units) -> str:
    """Limits of tolerance in words."""
    if quantity == Quantity.COUNT and upper == 0:
        return _("no faults")
    low, high = (None if end is None else amount(quantity, end, units) for end in (lower, upper))
    if low is not None and high is not None:
        return _("%(lower)s to %(upper)s", lower=low, upper=high)
    if high is not None:
        return _("at most %(upper)s", upper=high)
    return _("at least %(lower)s", lower=low) if low is not None else _("no limit")


def typed(reading: Reading) -> str:
    """Exactly what was entered, field by field in the order of the form."""
    return " · ".join(reading.entries.values())


def companion(beside: Companion, units: Units) -> str:
    """A number shown beside another, with its name."""
    if beside.quantity is None:
        value = f"{beside.amount:+.3f}°".replace("-", MINUS)
    else:
        value = format_derived(beside.quantity, beside.amount, units)
    return f"{_(beside.name)}: {value}"


def local_time(moment: datetime, plant: Plant, pattern: str = "dd MMM y, HH:mm") -> str:
    """A time on the plant's clock, months in the language of the page; ``pattern`` as in Unicode TS 35."""
    return format_datetime(moment.astimezone(local_zone(plant)), pattern, rebase=False)


def verdict_word(verdict: str) -> str:
    """The word for a verdict."""
    match verdict:
        case "within":
            return _("within")
        case "outside":
            return _("outside")
        case "unclear":
            return _("unclear")
        case _:
            return _("not recorded")


def role_word(role: str) -> str:
    """The word for a role."""
    words = {
        "worker": _("worker"),
        "lead": _("shop lead"),
        "quality_manager": _("quality manager"),
        "site_lead": _("site crew lead"),
        "customer": _("customer"),
        "administrator": _("administrator"),
    }
    return words[role]


def standing_word(standing: str) -> str:
    """The word for where a panel stands."""
    words = {
        "in_work": _("in work"),
        "held": _("held"),
        "free": _("proven"),
        "released": _("released"),
        "loaded": _("on its truck"),
        "set": _("set"),
        "scrapped": _("scrapped"),
    }
    return words[standing]


def day(date_of: date) -> str:
    """A day, with its month in the language of the page."""
    return format_date(date_of, "d MMM y")


def instrument_word(kind: str) -> str:
    """The word for a kind of instrument."""
    words = {
        "tape": _("Tape"),
        "scale": _("Scale"),
        "core_cutter": _("Core cutter"),
        "moisture_meter": _("Moisture meter"),
    }
    return words[kind]


def trust_word(trust: str) -> str:
    """What is wrong with an instrument in a few words; empty where nothing is."""
    return {"overdue": _("calibration overdue"), "failed": _("failed its check")}.get(trust, "")


def rule_word(rule: str) -> str:
    """The words for a run rule."""
    return gettext(RULE_WORDS[rule])


def may_open(endpoint: str) -> bool:
    """Whether whoever is signed in may open a page; decides what the menu shows."""
    act = allowed_act(endpoint)
    return signed_in() is not None and isinstance(act, Act) and may(person(), act)


def key_size() -> int | None:
    """The side of a keypad's key on the tablet that asks, in CSS pixels; None where no tablet is enrolled."""
    there = tablet()
    return there.key_size if there else None
