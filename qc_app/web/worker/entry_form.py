"""The form for readings taken together, made from what the control plan says is typed."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID, uuid4, uuid5

from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from wtforms import HiddenField, RadioField, SelectField, StringField, ValidationError
from wtforms.fields import Field as FormField

from qc_app.plan.control_plan import Check
from qc_app.plan.method import Entry, Field
from qc_app.plan.subject import Subject
from qc_app.records.shop import Instrument
from qc_app.web.choice import choice

KEYBOARDS = {
    Entry.LENGTH: "text",
    Entry.MASS: "decimal",
    Entry.PERCENT: "decimal",
    Entry.COUNT: "numeric",
}
"""Which keyboard a tablet shows; lengths need quotes and fractions."""

INSTRUMENT = "instrument_"


class EntryForm(FlaskForm):
    """What every such form holds besides its entries.

    ``doubted`` holds the entries that were doubted when they came first; sent again, they are believed.
    """

    uuid = HiddenField()
    doubted = HiddenField()
    note = StringField(_l("Note (optional)"))

    def validate_uuid(self, field: FormField) -> None:
        try:
            UUID(field.data or "")
        except ValueError as error:
            raise ValidationError(_("This page lost its number. Open the check again.")) from error


class Question:
    """The checks asked for on one page, and how their fields are named in its form."""

    def __init__(self, checks: Sequence[Check], subject: Subject) -> None:
        self.checks = tuple(checks)
        self.subject = subject
        self.instrument_kinds = tuple(
            dict.fromkeys(kind for check in checks for kind in check.characteristic.instruments)
        )

    @property
    def is_alone(self) -> bool:
        return len(self.checks) == 1

    @property
    def lines(self) -> tuple[str, ...]:
        """All lines to measure, from corner to corner."""
        return tuple(line for check in self.checks for line in check.characteristic.lines(check.place))

    def field_name(self, check: Check, field: Field) -> str:
        """Plain for one check by itself; with the place or key in front where several are asked."""
        return field.key if self.is_alone else f"{check.place or check.characteristic.key}_{field.key}"

    def label(self, check: Check, field: Field) -> str:
        """What is asked for: the field, or the place where that says more."""
        has_one_field = len(check.characteristic.method.fields) == 1
        return check.place if not self.is_alone and has_one_field and check.place else _(field.label)

    def entries(self, form: EntryForm, check: Check) -> dict[str, str]:
        """What was typed for one check, field by field."""
        return {
            field.key: form[self.field_name(check, field)].data or ""
            for field in check.characteristic.method.fields
        }

    def uuid(self, form: EntryForm, check: Check) -> UUID:
        """The number of one check's reading: the form's own, or one that follows from it."""
        number = UUID(form.uuid.data)
        return number if self.is_alone else uuid5(number, f"{check.characteristic.key}/{check.place}")

    def chosen(self, form: EntryForm, instruments: Sequence[Instrument]) -> tuple[Instrument, ...]:
        """The instruments chosen."""
        ids = {form[INSTRUMENT + kind].data for kind in self.instrument_kinds}
        return tuple(instrument for instrument in instruments if str(instrument.id) in ids)

    def _wanted(self, check: Check, field: Field) -> dict[str, str]:
        """What the page's own script needs to say at once how a length will be judged."""
        characteristic = check.characteristic
        if field.entry is not Entry.LENGTH:
            return {}
        fields = [f.key for f in characteristic.method.fields]
        lines = dict(zip(fields, characteristic.lines(check.place), strict=False))
        wanted = {"data-length": "", "data-line": lines.get(field.key, "")}
        if len(fields) > 1:
            return wanted
        requirement = characteristic.requirement(self.subject, check.place)
        amounts = {"target": requirement.target, "lower": requirement.lower, "upper": requirement.upper}
        return wanted | {
            f"data-{name}": str(amount) for name, amount in amounts.items() if amount is not None
        }

    def form(self, instruments: Sequence[Instrument], last_used: Mapping[str, int]) -> EntryForm:
        """The form: one field for each thing typed and one for each kind of instrument.

        ``last_used`` says which instrument of each kind was used last on this tablet; measured values are
        never filled in beforehand.
        """
        fields: dict[str, Any] = {}
        for check in self.checks:
            for field in check.characteristic.method.fields:
                shown = self._wanted(check, field)
                fields[self.field_name(check, field)] = _entry(field, self.label(check, field), shown)
        for kind in self.instrument_kinds:
            fields[INSTRUMENT + kind] = _instrument(kind, instruments, last_used.get(kind))
        made = type("ReadingForm", (EntryForm,), fields)
        form: EntryForm = made()
        if not form.uuid.data:
            form.uuid.data = str(uuid4())
        return form


def _entry(field: Field, label: str, wanted: Mapping[str, str]) -> Any:
    if field.entry is Entry.YES_NO:
        answers = [choice("yes", _l("Yes")), choice("no", _l("No"))]
        return RadioField(label, choices=answers, validate_choice=False)
    keyboard = {"inputmode": KEYBOARDS[field.entry], "autocomplete": "off", "spellcheck": "false", **wanted}
    description = _("Such as %(example)s", example=field.example) if field.example else ""
    return StringField(label, description=description, render_kw=keyboard)


def _instrument(kind: str, instruments: Sequence[Instrument], last_used: int | None) -> Any:
    known = [i for i in instruments if i.kind == kind]
    default = last_used if last_used in [i.id for i in known] else known[0].id if len(known) == 1 else None
    choices = [] if default else [choice("", _("Choose"))]
    choices += [choice(str(i.id), i.name) for i in known]
    return SelectField(
        instrument_word(kind), choices=choices, default=str(default or ""), validate_choice=False
    )


def instrument_word(kind: str) -> str:
    """The word for a kind of instrument."""
    words = {
        "tape": _("Tape"),
        "scale": _("Scale"),
        "core_cutter": _("Core cutter"),
        "moisture_meter": _("Moisture meter"),
    }
    return words[kind]
