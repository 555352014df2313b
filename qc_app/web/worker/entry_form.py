"""The form for one reading, made from what the control plan says is typed."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID, uuid4

from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from wtforms import HiddenField, RadioField, SelectField, StringField, ValidationError
from wtforms.fields import Field as FormField

from qc_app.plan.characteristic import Characteristic
from qc_app.plan.method import Entry, Field
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
    """What every reading's form holds besides its entries."""

    uuid = HiddenField()
    note = StringField(_l("Note (optional)"))

    def validate_uuid(self, field: FormField) -> None:
        try:
            UUID(field.data or "")
        except ValueError as error:
            raise ValidationError(_("This page lost its number. Open the check again.")) from error


def entry_form(
    characteristic: Characteristic, instruments: Sequence[Instrument], last_used: Mapping[str, int]
) -> EntryForm:
    """A form with one field for each thing typed and one for each kind of instrument.

    ``last_used`` says which instrument of each kind was used last on this tablet; measured values are never
    filled in beforehand.
    """
    fields: dict[str, Any] = {f.key: _entry(f) for f in characteristic.method.fields}
    for kind in characteristic.instruments:
        fields[INSTRUMENT + kind] = _choice(kind, instruments, last_used.get(kind))
    made = type("ReadingForm", (EntryForm,), fields)
    form: EntryForm = made()
    if not form.uuid.data:
        form.uuid.data = str(uuid4())
    return form


def entries(form: EntryForm, characteristic: Characteristic) -> dict[str, str]:
    """What was typed, field by field."""
    return {f.key: form[f.key].data or "" for f in characteristic.method.fields}


def chosen(
    form: EntryForm, characteristic: Characteristic, instruments: Sequence[Instrument]
) -> tuple[Instrument, ...]:
    """The instruments chosen."""
    ids = {form[INSTRUMENT + kind].data for kind in characteristic.instruments}
    return tuple(instrument for instrument in instruments if str(instrument.id) in ids)


def _entry(field: Field) -> Any:
    if field.entry is Entry.YES_NO:
        return RadioField(
            _(field.label),
            choices=[choice("yes", _l("Yes")), choice("no", _l("No"))],
            validate_choice=False,
        )
    keyboard = {"inputmode": KEYBOARDS[field.entry], "autocomplete": "off", "spellcheck": "false"}
    description = _("Such as %(example)s", example=field.example) if field.example else ""
    return StringField(_(field.label), description=description, render_kw=keyboard)


def _choice(kind: str, instruments: Sequence[Instrument], last_used: int | None) -> Any:
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
