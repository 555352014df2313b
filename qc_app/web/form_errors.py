"""Putting a refusal beside the field it is about, so that what was typed stays."""

from flask_wtf import FlaskForm

from qc_app.refusal import Refusal
from qc_app.web.language import say


def take_refusal(form: FlaskForm, refusal: Refusal, field: str | None = None) -> None:
    """Adds a refusal to the errors of the field it names, of ``field``, or of the form as a whole."""
    name = refusal.about or field
    if name is not None and name in form:
        form[name].errors = [*form[name].errors, say(refusal)]
    else:
        form.form_errors.append(say(refusal))
