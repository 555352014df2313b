"""Forms over parts of the text of a control plan: what each shows, and what a change of it changes there."""

from collections.abc import Iterable, Mapping
from typing import Any

from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired
from wtforms import (
    BooleanField,
    Field,
    HiddenField,
    SelectField,
    SelectMultipleField,
    StringField,
    TextAreaField,
)
from wtforms.validators import InputRequired, Regexp
from wtforms.widgets import CheckboxInput, ListWidget

from qc_app.measure.conformity import Rule
from qc_app.plan.characteristic import Overdue, PutRight
from qc_app.plan.edit import Path
from qc_app.plan.instrument import INSTRUMENT_KINDS
from qc_app.plan.problems import Problem
from qc_app.web.choice import choice
from qc_app.web.language import say
from qc_app.web.quality import plan_wording as wording
from qc_app.web.show import instrument_word

WAYS = ("plus_minus", "plus", "minus", "lower", "upper", "per", "rounded_to")
BAND_KEYS = ("depth_up_to", "target", "lower", "upper")
SPARE_BANDS = 1
"""Empty rows for bands more than there are."""

DEFAULTS: dict[str, Any] = {
    "how": "",
    "target": "none",
    "sample": 0,
    "every": 1,
    "decision_rule": "simple_acceptance",
    "put_right": "here",
    "overdue_instrument": "flag",
    "signal_holds": False,
    "instruments": [],
}
"""What a plan means where it leaves one of these out."""


class DraftForm(FlaskForm):
    """Something that changes a draft; ``revision`` is the one that was opened."""

    revision = HiddenField()


class TextForm(DraftForm):
    """The whole document."""

    document = TextAreaField(_l("The control plan as text"))


class UploadForm(DraftForm):
    """A document to take the place of the draft's."""

    file = FileField(_l("Control plan (.toml)"), [FileRequired(_l("Choose a file."))])


class AdoptForm(DraftForm):
    """What adopting needs."""

    reason = TextAreaField(_l("Why the plan changes"), [InputRequired(_l("Say why the plan changes."))])
    in_force_from = StringField(
        _l("In force from"), [InputRequired(_l("Choose a day."))], render_kw={"type": "date"}
    )


class StationForm(DraftForm):
    """What changes often of a station."""

    name = StringField(_l("Name"), [InputRequired(_l("Enter a name."))])
    hold_point = BooleanField(_l("Hold point: a panel waits here until all is within"))
    cautions = TextAreaField(_l("Cautions"), description=_l("One to a line."))

    def fill(self, table: Mapping[str, Any]) -> None:
        """Shows what the document says."""
        self.name.data = table.get("name", "")
        self.hold_point.data = table.get("hold_point", True)
        self.cautions.data = "\n".join(table.get("cautions", ()))

    def changes(self, table: Mapping[str, Any], path: Path) -> dict[Path, Any]:
        """What was typed and is not what the document says."""
        typed = {
            "name": (self.name.data or "").strip(),
            "hold_point": self.hold_point.data,
            "cautions": [line.strip() for line in (self.cautions.data or "").splitlines() if line.strip()],
        }
        meant = {"hold_point": True, "cautions": [], **table}
        return {(*path, key): value for key, value in typed.items() if meant.get(key) != value}


class CharacteristicForm(DraftForm):
    """What changes often of a characteristic. Bands are fields of their own: ``band_0_target``."""

    of = HiddenField()
    """Key of the characteristic that was opened."""
    name = StringField(_l("Name"), [InputRequired(_l("Enter a name."))])
    how = TextAreaField(_l("How to measure"))
    target = StringField(
        _l("Target"),
        description=_l("An amount such as 3.8 lb/ft³; or length, width, depth, connector, or none."),
    )
    plus_minus = StringField(_l("Either side of the target"), description=_l("Such as 1/16 in."))
    plus = StringField(_l("Above the target"))
    minus = StringField(_l("Below the target"), description=_l("Without a sign."))
    lower = StringField(_l("Lower limit"))
    upper = StringField(_l("Upper limit"))
    per = StringField(_l("For each length of (pro rata only)"))
    rounded_to = StringField(_l("Rounded before it is compared, to (optional)"))
    sample = StringField(
        _l("Sample"),
        [Regexp(r"\d{0,3}\Z", message=_l("A sample is a whole number."))],
        description=_l("How many bays or members; 0 for all bays."),
        render_kw={"inputmode": "numeric"},
    )
    every = StringField(
        _l("On every n-th panel"),
        [Regexp(r"\d{0,4}\Z", message=_l("Enter a whole number, 1 or more."))],
        description=_l("1 for every panel."),
        render_kw={"inputmode": "numeric"},
    )
    decision_rule = SelectField(_l("Decision rule"))
    instruments = SelectMultipleField(
        _l("Instruments allowed"), widget=ListWidget(prefix_label=False), option_widget=CheckboxInput()
    )
    put_right = SelectField(_l("Outside its limits it is put right"))
    signal_holds = BooleanField(_l("A signal on its control chart holds the panel"))
    overdue_instrument = SelectField(_l("A reading with an overdue instrument is"))

    def offer(self) -> None:
        """Fills in the choices, in the language of the page."""
        said = wording.say_known
        self.decision_rule.choices = [choice(r.value, said(wording.DECISION_RULES, r)) for r in Rule]
        self.put_right.choices = [choice(p.value, said(wording.PUT_RIGHT, p)) for p in PutRight]
        self.overdue_instrument.choices = [choice(o.value, said(wording.OVERDUE, o)) for o in Overdue]
        self.instruments.choices = [choice(kind, instrument_word(kind)) for kind in INSTRUMENT_KINDS]

    def fill(self, table: Mapping[str, Any]) -> None:
        """Shows what the document says."""
        self.of.data = table.get("key", "")
        for key, default in {"name": "", **DEFAULTS}.items():
            value = table.get(key, default)
            self[key].data = str(value) if isinstance(default, int) and not isinstance(value, bool) else value
        limits = table.get("limits", {})
        for key in WAYS:
            self[key].data = limits.get(key, "")
        for number, band in enumerate(limits.get("bands", ())):
            for key in BAND_KEYS:
                self[f"band_{number}_{key}"].data = band.get(key, "")

    def changes(self, table: Mapping[str, Any], path: Path) -> dict[Path, Any]:
        """What was typed and is not what the document says."""
        typed: dict[str, Any] = {key: self[key].data for key in ("name", *DEFAULTS)}
        typed |= {key: (typed[key] or "").strip() for key in ("name", "how", "target")}
        typed |= {key: int(typed[key] or DEFAULTS[key]) for key in ("sample", "every")}
        typed["target"] = typed["target"] or "none"
        meant = {**DEFAULTS, **table}
        ticked = typed["instruments"] or []
        typed["instruments"] = [
            *(kind for kind in meant["instruments"] if kind in ticked),
            *(kind for kind in ticked if kind not in meant["instruments"]),
        ]
        changed = {(*path, key): value for key, value in typed.items() if meant.get(key) != value}
        if (limits := self._limits(table.get("limits", {}))) != table.get("limits", {}):
            changed[(*path, "limits")] = limits
        return changed

    def take(self, problems: Iterable[Problem]) -> None:
        """Puts each problem of this characteristic beside its field."""
        for problem in problems:
            field = self._field_of(problem.path[2:])
            if field is None:
                self.form_errors.append(say(problem))
            else:
                field.errors = [*field.errors, say(problem)]

    def band_rows(self) -> list[list[Field]]:
        """The fields of bands, row by row."""
        rows: dict[str, list[Field]] = {}
        for field in self:
            if field.short_name.startswith("band_"):
                rows.setdefault(field.short_name.split("_")[1], []).append(field)
        return list(rows.values())

    def _typed_bands(self) -> list[tuple[int, dict[str, str]]]:
        """Each row of bands with anything in it, and its number on the form."""
        rows = []
        for number, fields in enumerate(self.band_rows()):
            row = {key: (f.data or "").strip() for key, f in zip(BAND_KEYS, fields, strict=True)}
            if any(row.values()):
                rows.append((number, {key: text for key, text in row.items() if text}))
        return rows

    def _limits(self, before: Mapping[str, Any]) -> dict[str, Any]:
        typed = {key: (self[key].data or "").strip() for key in WAYS}
        kept = {key: typed.get(key, value) for key, value in before.items() if typed.get(key, value) != ""}
        limits = kept | {key: text for key, text in typed.items() if text}
        if "bands" in before:
            limits["bands"] = [band for _number, band in self._typed_bands()]
        return limits

    def _field_of(self, path: Path) -> Field | None:
        if path[:2] == ("limits", "bands") and len(path) == 4 and isinstance(path[2], int):
            name = f"band_{self._typed_bands()[path[2]][0]}_{path[3]}"
        elif path == ("limits",):
            name = "band_0_depth_up_to" if self.band_rows() else "plus_minus"
        else:
            name = str(path[-1]) if path else ""
        return next((field for field in self if field.short_name == name), None)


def characteristic_form(table: Mapping[str, Any]) -> CharacteristicForm:
    """A form with room for the bands of this characteristic, and one more."""
    bands = table.get("limits", {}).get("bands")
    labels = {
        "depth_up_to": _l("Bays up to this depth"),
        "target": _l("Target"),
        "lower": _l("Lower limit"),
        "upper": _l("Upper limit"),
    }
    rows = range(len(bands) + SPARE_BANDS) if isinstance(bands, list) else ()
    fields = {f"band_{row}_{key}": StringField(labels[key]) for row in rows for key in BAND_KEYS}
    form: CharacteristicForm = type("CharacteristicForm", (CharacteristicForm,), fields)()
    form.offer()
    return form
