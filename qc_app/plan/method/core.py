"""The density of a core taken out of a bay."""

from fractions import Fraction

from qc_app.measure.core_sample import MeasuredDensity, core_density, measured_core
from qc_app.measure.length import Length, parse_length
from qc_app.measure.mass import Mass, parse_mass
from qc_app.phrase import phrase
from qc_app.plan.method.entry import Entries, Entry, EntryRefused, Field, has, is_about, read
from qc_app.plan.method.outcome import Circumstances, Method, Outcome
from qc_app.plan.quantity import GRAINS, Quantity, density_grains
from qc_app.refusal import Refusal

DEPTH_OVER_BAY = Length.from_nanometres(6_350_000)
"""How much deeper than its bay a core may read: 1/4 in, for a face that bulges (our choice)."""


def _core(entries: Entries, at: Circumstances) -> Outcome:
    if at.bore is None:
        raise EntryRefused(
            "mass", Refusal(phrase("Choose the core cutter first; its bore is needed for the density."))
        )
    mass = read(entries, "mass", parse_mass)
    tare = read(entries, "tare", parse_mass) if has(entries, "tare") else 0
    depth = read(entries, "depth", parse_length)
    _refuse_core_deeper_than_bay(depth, at)
    try:
        density = core_density(mass, at.bore, depth, tare)
    except Refusal as refusal:
        raise EntryRefused("depth" if is_about(refusal, "depth") else "mass", refusal) from refusal
    core = _measured_core(mass, depth, tare, at)
    if core is None:
        return Outcome(density_grains(density))
    return Outcome(density_grains(density), (), density_grains(core.standard_uncertainty), core.advice())


def _measured_core(mass: Mass, depth: Length, tare: Mass | int, at: Circumstances) -> MeasuredDensity | None:
    """The density with its uncertainty; None where that of an instrument is not known."""
    scale, cutter, tape = at.uncertainties.get("scale"), *map(at.length_uncertainty, ("core_cutter", "tape"))
    if scale is None or cutter is None or tape is None or at.bore is None:
        return None
    return measured_core(
        mass,
        at.bore,
        depth,
        tare,
        scale_uncertainty=Mass.from_grams(Fraction(scale, GRAINS)),
        bore_uncertainty=cutter,
        depth_uncertainty=tape,
    )


def _refuse_core_deeper_than_bay(depth: Length, at: Circumstances) -> None:
    if at.bay is None:
        return
    deepest = Length.from_nanometres(at.bay.depth)
    if depth > deepest + DEPTH_OVER_BAY:
        refusal = Refusal(
            phrase("The core cannot be deeper than its bay ({bay} in). Given: {given} in."),
            bay=float(deepest.inches),
            given=float(depth.inches),
        )
        raise EntryRefused("depth", refusal)


CORE = Method(
    "core",
    Quantity.DENSITY,
    (
        Field("mass", phrase("Mass of the core"), Entry.MASS, "60.0 g"),
        Field("depth", phrase("Depth of the core"), Entry.LENGTH, '11 1/4"'),
        Field("tare", phrase("Tare (optional)"), Entry.MASS, "0 g", required=False),
    ),
    _core,
)
