"""The kinds of instrument a control plan may ask for, and how finely each measures; and the room in a bay."""

from qc_app.measure.length import parse_length
from qc_app.measure.mass import parse_mass
from qc_app.measure.moisture import parse_percent
from qc_app.phrase import phrase
from qc_app.plan.quantity import GRAINS, Quantity, Units, format_amount, format_derived, parse_amount
from qc_app.refusal import Refusal

INSTRUMENT_WORDS = {
    "tape": phrase("tape"),
    "scale": phrase("scale"),
    "core_cutter": phrase("core cutter"),
    "moisture_meter": phrase("moisture meter"),
}
INSTRUMENT_KINDS = tuple(INSTRUMENT_WORDS)

INSTRUMENT_QUANTITIES = {
    "tape": Quantity.LENGTH,
    "scale": Quantity.MASS,
    "core_cutter": Quantity.LENGTH,
    "moisture_meter": Quantity.MOISTURE,
}
"""What each kind measures; of a core cutter it is its bore that is checked."""

_MINUS_SIGNS = "-\N{MINUS SIGN}"


def parse_reading(kind: str, text: str) -> int:
    """What an instrument reads at a reference, in grains; an empty scale may read below zero.

    Raises
    ------
    Refusal
        If the text is no such amount.
    """
    typed = text.strip()
    if kind == "scale" and typed[:1] in tuple(_MINUS_SIGNS):
        return -parse_amount(Quantity.MASS, typed[1:])
    return parse_amount(INSTRUMENT_QUANTITIES[kind], typed)


def format_reading(kind: str, amount: int, units: Units) -> str:
    """What an instrument read, as the shop writes it; a mass in grams, as a small scale shows it."""
    quantity = INSTRUMENT_QUANTITIES[kind]
    if quantity is Quantity.MASS:
        return f"{amount / GRAINS:g} g".replace("-", "\N{MINUS SIGN}")
    return format_amount(quantity, amount, units)


def format_error(kind: str, amount: int, units: Units) -> str:
    """How far off an instrument is or may be, without a sign: finer than its own graduation."""
    quantity = INSTRUMENT_QUANTITIES[kind]
    if quantity is Quantity.MASS:
        return format_reading(kind, abs(amount), units)
    return format_derived(quantity, abs(amount), units).lstrip("+")


def parse_uncertainty(kind: str, text: str) -> int:
    """The standard uncertainty of one reading with an instrument, in grains.

    That is nanometres for a tape and for the bore of a core cutter, micrograms for a scale, millionths of a
    percent for a moisture meter. ``bay_volume`` is likewise in millionths of a percent, of the volume.

    Raises
    ------
    Refusal
        If the text is no such amount or not above zero, or there is no such kind.
    """
    match kind:
        case "tape" | "core_cutter":
            amount = parse_length(text).nanometres
        case "scale":
            amount = round(parse_mass(text).grams * GRAINS)
        case "moisture_meter" | "bay_volume":
            amount = round(parse_percent(text) * GRAINS)
        case _:
            raise Refusal("There is no kind of instrument “{given}”.", given=kind)
    if amount <= 0:
        raise Refusal("A standard uncertainty is more than zero. Given: “{given}”.", given=text)
    return amount
