"""Fill by mass balance: what was blown in, over the room there was for it.

An independent check of the cores: a void, a leak or a miscounted bag shows as disagreement. Blowing
cellulose raises dust above exposure limits and the dust burns: wear a respirator, keep ignition sources
away, and follow the manufacturer's instructions and the local rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.budget import product_of_powers
from qc_app.measure.core_sample import MeasuredDensity
from qc_app.measure.density import Density
from qc_app.measure.entry import exact
from qc_app.measure.length import Length, positive_inches
from qc_app.measure.mass import Mass, positive_grams
from qc_app.refusal import Refusal


@dataclass(frozen=True, order=True, slots=True)
class Volume:
    """A volume in cubic inches, exact."""

    cubic_inches: Fraction

    @property
    def cubic_feet(self) -> Fraction:
        return self.cubic_inches / 1728

    @property
    def cubic_metres(self) -> Fraction:
        return self.cubic_inches * Fraction("0.0254") ** 3

    def __add__(self, other: Volume) -> Volume:
        return Volume(self.cubic_inches + other.cubic_inches)


def bay_volume(
    width: Length | float,
    length: Length | float,
    depth: Length | float,
    *,
    depth_taken: Length | float = 0,
    blocked: Volume | None = None,
) -> Volume:
    """Net volume of a bay: width × length × (depth − depth taken) − blocked; plain numbers are inches.

    ``width``        clear between the faces of the members, not centre to centre
    ``length``       likewise
    ``depth``        of the cavity
    ``depth_taken``  part of the depth that something fills all over (a service layer, a board)
    ``blocked``      volume of single things (blocking, ducts, pipes)

    Raises ``Refusal`` for a size that is not more than zero and where nothing is left.

    >>> float(bay_volume(14.5, 93, 5.5).cubic_inches)
    7416.75
    """
    taken = depth_taken.inches if isinstance(depth_taken, Length) else exact(depth_taken, "depth taken")
    across = positive_inches(width, "width of the bay") * positive_inches(length, "length of the bay")
    gross = across * (positive_inches(depth, "depth of the bay") - taken)
    net = gross - (blocked.cubic_inches if blocked else 0)
    if taken < 0 or net <= 0 or net > gross:
        raise Refusal("What is in the way must be less than the bay itself.")
    return Volume(net)


def filled_density(blown: Mass | float, volume: Volume, left_over: Mass | float = 0) -> Density:
    """Mean density of a bay or panel: (blown − left over) / volume; plain masses are grams.

    Raises ``Refusal`` for a net mass or a volume that is not more than zero, and for a negative mass left
    over.

    >>> room = Volume(Fraction(162 * 1728))
    >>> filled = filled_density(Mass.from_pounds(600), room, Mass.from_pounds(Fraction("6.5")))
    >>> round(filled.pounds_per_cubic_foot, 4)
    3.6636
    """
    net = _net_grams(blown, left_over)
    if volume.cubic_inches <= 0:
        raise Refusal(
            "The volume must be more than zero, not {volume} in³.", volume=float(volume.cubic_inches)
        )
    return Density(float(net / 1000 / volume.cubic_metres))


def mass_balance(
    blown: Mass | float,
    volume: Volume,
    left_over: Mass | float = 0,
    *,
    mass_uncertainty: Mass | float,
    volume_uncertainty: float,
) -> MeasuredDensity:
    """``filled_density`` with its combined standard uncertainty (JCGM 100:2008, 5.1.6, from memory).

    ``mass_uncertainty``    standard uncertainty of the net mass
    ``volume_uncertainty``  relative standard uncertainty of the volume (0.01: one percent)

    Raises ``Refusal`` as ``filled_density`` does, and for an uncertainty that is not more than zero.

    >>> blown, left = Mass.from_pounds(600), Mass.from_pounds(Fraction("6.5"))
    >>> room = Volume(Fraction(162 * 1728))
    >>> known = {"mass_uncertainty": Mass.from_pounds(1), "volume_uncertainty": 0.02}
    >>> filled = mass_balance(blown, room, left, **known)
    >>> round(filled.density.pounds_per_cubic_foot, 4)
    3.6636
    """
    net, density = _net_grams(blown, left_over), filled_density(blown, volume, left_over)
    if not (math.isfinite(volume_uncertainty) and volume_uncertainty > 0):
        raise Refusal(
            "The uncertainty of the volume must be more than zero, not {value}.", value=volume_uncertainty
        )
    sources = {
        "mass": (float(net), float(positive_grams(mass_uncertainty, "uncertainty of the mass")), 1.0),
        "volume": (1.0, volume_uncertainty, -1.0),
    }
    return MeasuredDensity(product_of_powers(density.kilograms_per_cubic_metre, sources))


def _net_grams(blown: Mass | float, left_over: Mass | float) -> Fraction:
    unused = left_over.grams if isinstance(left_over, Mass) else exact(left_over, "mass left over")
    if unused < 0:
        raise Refusal("The mass left over must not be negative, not {grams} g.", grams=float(unused))
    net = positive_grams(blown, "mass blown") - unused
    return positive_grams(Mass(net), "mass blown less the mass left over")


@dataclass(frozen=True, slots=True)
class Agreement:
    """Whether two independent results agree: the normalised error and whether it is at most 1."""

    normalised_error: float
    agrees: bool


def agreement(one: MeasuredDensity, other: MeasuredDensity, coverage: float = 2.0) -> Agreement:
    """Normalised error of ``one`` against ``other``; the two results must be independent.

    Eₙ = (x₁ − x₂) / √(U₁² + U₂²) with U = ``coverage`` · u; they agree when it lies between −1 and 1
    (Eₙ score of ISO 13528:2022, from memory).

    Raises ``Refusal`` for a coverage factor that is not more than zero and for two results without
    uncertainty.
    """
    return agreement_of(
        one.budget.value,
        one.budget.standard_uncertainty,
        other.budget.value,
        other.budget.standard_uncertainty,
        coverage,
    )


def agreement_of(
    one: float, uncertainty_of_one: float, other: float, uncertainty_of_other: float, coverage: float = 2.0
) -> Agreement:
    """``agreement`` of two values with their standard uncertainties, all in one unit.

    >>> agreement_of(3.2, 0.1, 4.0, 0.1).agrees, agreement_of(3.8, 0.1, 4.0, 0.1).agrees
    (False, True)
    """
    if not (math.isfinite(coverage) and coverage > 0):
        raise Refusal("The coverage factor must be more than zero, not {coverage}.", coverage=coverage)
    spread = coverage * math.hypot(uncertainty_of_one, uncertainty_of_other)
    if spread == 0:
        raise Refusal("Two results without uncertainty cannot be tested for agreement.")
    error = (one - other) / spread
    return Agreement(error, abs(error) <= 1)


def mass_needed(volume: Volume, density: Density) -> Mass:
    """The mass that fills ``volume`` to ``density``."""
    return Mass.from_grams(1000 * float(volume.cubic_metres) * density.kilograms_per_cubic_metre)


def bags_needed(volume: Volume, density: Density, bag: Mass) -> float:
    """Bags, with the part of the last one, that fill ``volume`` to ``density``; buy the next whole number.

    >>> wanted = Density.from_pounds_per_cubic_foot(3.5)
    >>> round(bags_needed(Volume(Fraction(162 * 1728)), wanted, Mass.from_pounds(25)), 2)
    22.68
    """
    return float(mass_needed(volume, density).grams / positive_grams(bag, "mass of a bag"))


def coverage_per_bag(depth: Length | float, density: Density, bag: Mass) -> float:
    """Square feet of bay, net of framing, that one bag fills at ``depth`` to ``density``."""
    feet = float(positive_inches(depth, "depth of the bay")) / 12
    pounds = float(positive_grams(bag, "mass of a bag") / Mass.from_pounds(1).grams)
    if not (math.isfinite(density.kilograms_per_cubic_metre) and density.kilograms_per_cubic_metre > 0):
        raise Refusal(
            "The density must be more than zero, not {density}.", density=density.pounds_per_cubic_foot
        )
    return pounds / (density.pounds_per_cubic_foot * feet)
