"""The density of a whole bay, from the mass blown into it."""

from fractions import Fraction

from qc_app.measure.density import Density
from qc_app.measure.fill import Volume, bay_volume, filled_density, mass_balance, mass_needed
from qc_app.measure.length import Length
from qc_app.measure.mass import Mass, parse_mass
from qc_app.phrase import phrase
from qc_app.plan.method.entry import Entries, Entry, EntryRefused, Field, has, parse_text, read
from qc_app.plan.method.outcome import Circumstances, Companion, Method, Outcome
from qc_app.plan.quantity import GRAINS, Quantity, density_grains, mass_grains, parse_count
from qc_app.refusal import Refusal

POSSIBLE = (0.5, 15.0)
"""Mean densities of one bay, in lb/ft³, that its own mass can give (our choice).

Fill as it falls is above 1 lb/ft³ and dense pack below 5 (common practice). Beyond this the mass is of
several bays, or of a part of one.
"""


def _fill(entries: Entries, at: Circumstances) -> Outcome:
    mass = read(entries, "mass", parse_mass)
    if has(entries, "setting"):
        read(entries, "setting", parse_text)
    if has(entries, "seconds"):
        read(entries, "seconds", parse_count)
    volume = _volume(at)
    try:
        density = _density(mass, volume)
    except Refusal as refusal:
        raise EntryRefused("mass", refusal) from refusal
    return Outcome(density_grains(density), _wanted(volume, at), _uncertainty(mass, volume, at))


def _volume(at: Circumstances) -> Volume:
    """The room in the bay. It runs across the panel, from edge AB to DC, so the panel's width is its length.

    The plates along both edges are not taken off; ``bay_volume`` in the plan's uncertainties covers them.
    """
    if at.bay is None:
        raise EntryRefused("mass", Refusal(phrase("A mass of fill needs the bay that it was blown into.")))
    width, length, depth = (
        Length.from_nanometres(size) for size in (at.bay.width, at.subject.width, at.bay.depth)
    )
    return bay_volume(width, length, depth)


def _density(mass: Mass, volume: Volume) -> Density:
    density = filled_density(mass, volume)
    fewest, most = POSSIBLE
    if not fewest <= density.pounds_per_cubic_foot <= most:
        raise Refusal(
            phrase("Is this the mass of this bay alone? It would be {pounds} lb/ft³, or {kilograms} kg/m³."),
            pounds=round(density.pounds_per_cubic_foot, 2),
            kilograms=round(density.kilograms_per_cubic_metre, 1),
        )
    return density


def _uncertainty(mass: Mass, volume: Volume, at: Circumstances) -> int | None:
    """Standard uncertainty of the density; None where that of the scale or of the volume is not known."""
    scale, room = at.uncertainties.get("scale"), at.uncertainties.get("bay_volume")
    if not scale or not room:
        return None
    measured = mass_balance(
        mass,
        volume,
        mass_uncertainty=Mass.from_grams(Fraction(scale, GRAINS)),
        volume_uncertainty=room / GRAINS / 100,
    )
    return density_grains(measured.standard_uncertainty)


def _wanted(volume: Volume, at: Circumstances) -> tuple[Companion, ...]:
    """The mass that the target would take, where there is a target."""
    if at.target is None:
        return ()
    wanted = Density.from_pounds_per_cubic_foot(at.target / GRAINS)
    grains = mass_grains(mass_needed(volume, wanted))
    return (Companion(phrase("Target would take"), Quantity.MASS, grains),)


FILL = Method(
    "fill",
    Quantity.DENSITY,
    (
        Field("mass", phrase("Mass blown into this bay"), Entry.MASS, "56.3 lb"),
        Field("setting", phrase("Blower setting (optional)"), Entry.TEXT, "gate 4, air 7", required=False),
        Field("seconds", phrase("Seconds of blowing (optional)"), Entry.COUNT, "95", required=False),
    ),
    _fill,
)
