"""A core of blown fill: mass and size in, density out, with its uncertainty.

Exact factors (NIST SP 811, appendix B.8): 1 in = 25.4 mm, 1 lb = 0.45359237 kg.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from qc_app.measure.budget import Budget, product_of_powers, type_a
from qc_app.measure.density import POUND_PER_CUBIC_FOOT, Density
from qc_app.measure.entry import exact
from qc_app.measure.length import Length, positive_inches
from qc_app.measure.mass import Mass, parse_mass, positive_grams
from qc_app.phrase import phrase
from qc_app.refusal import Refusal

__all__ = [
    "Density",
    "Mass",
    "MeasuredDensity",
    "core_density",
    "mean_density",
    "measured_core",
    "parse_mass",
]

COMMON_SOURCES = ("bore", "moisture")
"""Sources that every core of a panel shares: one cutter, one moisture content. They do not average out."""


def core_density(
    mass: Mass | float, bore: Length | float, depth: Length | float, tare: Mass | float = 0
) -> Density:
    """Density of a cylindrical core: (mass − tare) / (π/4 · bore² · depth).

    Plain numbers are grams and inches.

    ``mass``   what the scale shows
    ``bore``   inside diameter of the cutter
    ``depth``  depth cored
    ``tare``   what of the mass is not fill (bag, tin)

    Raises ``Refusal`` for a mass, bore or depth that is zero, negative or not finite, for a negative tare,
    and for a tare not below the mass.

    >>> density = core_density(60.0, 2.5, 11.25)
    >>> round(density.pounds_per_cubic_foot, 3), round(density.kilograms_per_cubic_metre, 1)
    (4.139, 66.3)
    """
    grams = _net_grams(mass, tare)
    across, down = positive_inches(bore, "bore of the core"), positive_inches(depth, "depth of the core")
    cubic_metres = across**2 * down * Fraction("0.0254") ** 3
    return Density(float(grams / 1000 / cubic_metres) * 4 / math.pi)


def _net_grams(mass: Mass | float, tare: Mass | float) -> Fraction:
    gross = mass.grams if isinstance(mass, Mass) else exact(mass, "mass of the core")
    empty = tare.grams if isinstance(tare, Mass) else exact(tare, "tare")
    if empty < 0:
        raise Refusal("The tare of the core must not be negative, not {tare} g.", tare=float(empty))
    if gross <= empty:
        raise Refusal(
            "The mass of the core must be more than its tare: {mass} g and {tare} g.",
            mass=float(gross),
            tare=float(empty),
        )
    return gross - empty


@dataclass(frozen=True)
class MeasuredDensity:
    """A density and its uncertainty by source; ``budget`` in kg/m³."""

    budget: Budget

    @property
    def density(self) -> Density:
        return Density(self.budget.value)

    @property
    def standard_uncertainty(self) -> Density:
        """Combined standard uncertainty, as a density for its units."""
        return Density(self.budget.standard_uncertainty)

    @property
    def relative_uncertainty(self) -> float:
        return self.budget.standard_uncertainty / self.budget.value

    @property
    def shares(self) -> dict[str, float]:
        """Each source's share of the variance."""
        return self.budget.shares

    def advice(self, wanted: float = 0.03) -> str | None:
        """What to improve when the relative standard uncertainty is above ``wanted``; None when it is not."""
        if self.relative_uncertainty <= wanted:
            return None
        return _ADVICE.get(max(self.shares, key=self.shares.__getitem__))

    def dry_basis(self, moisture_percent: float | Fraction, uncertainty: float = 0.0) -> MeasuredDensity:
        """The density of the dry matter alone: density / (1 + moisture / 100), moisture by dry mass.

        ``uncertainty`` is the standard uncertainty of the moisture content, in percent.

        Raises ``Refusal`` for a moisture content or an uncertainty that is negative or not finite.
        """
        moisture = float(exact(moisture_percent, "moisture content"))
        if moisture < 0:
            raise Refusal("The moisture content must not be negative, not {moisture} %.", moisture=moisture)
        wet = 1 + moisture / 100
        drying = product_of_powers(self.budget.value / wet, {"moisture": (wet, uncertainty / 100, -1)})
        parts = self.budget.scaled(1 / wet).contributions
        return MeasuredDensity(Budget(drying.value, {**parts, **drying.contributions}))


_ADVICE = {
    "scale": phrase("The core is too small for this scale: take a wider core or use a finer scale."),
    "bore": phrase("Measure the inside diameter of the cutter better: it counts twice."),
    "depth": phrase("Measure the depth of the hole better."),
    "spread": phrase("The cores differ: take more cores, and look for a void."),
    "moisture": phrase("Measure the moisture content of the fill better."),
}


def measured_core(
    mass: Mass | float,
    bore: Length | float,
    depth: Length | float,
    tare: Mass | float = 0,
    *,
    scale_uncertainty: Mass | float,
    bore_uncertainty: Length | float,
    depth_uncertainty: Length | float,
) -> MeasuredDensity:
    """``core_density`` with its combined standard uncertainty (JCGM 100:2008, 5.1.6, from memory).

    The bore counts twice, since its square stands in the volume. The standard uncertainties:

    ``scale_uncertainty``  of the net mass: of two weighings where the tare is weighed too
    ``bore_uncertainty``   of the bore
    ``depth_uncertainty``  of the depth

    Raises ``Refusal`` as ``core_density`` does, and for an uncertainty that is not more than zero.

    >>> spreads = {"scale_uncertainty": 0.6, "bore_uncertainty": 0.01, "depth_uncertainty": 0.06}
    >>> core = measured_core(32.5, 2, 11.25, **spreads)
    >>> round(core.standard_uncertainty.pounds_per_cubic_foot, 3), core.advice(0.02)
    (0.076, 'The core is too small for this scale: take a wider core or use a finer scale.')
    """
    density = core_density(mass, bore, depth, tare)
    sources = {
        "scale": (
            float(_net_grams(mass, tare)),
            float(positive_grams(scale_uncertainty, "uncertainty of the mass")),
            1.0,
        ),
        "bore": (_inches(bore, "bore"), _inches(bore_uncertainty, "uncertainty of the bore"), -2.0),
        "depth": (_inches(depth, "depth"), _inches(depth_uncertainty, "uncertainty of the depth"), -1.0),
    }
    return MeasuredDensity(product_of_powers(density.kilograms_per_cubic_metre, sources))


def _inches(size: Length | float, name: str) -> float:
    return float(positive_inches(size, name))


def mean_density(cores: Sequence[MeasuredDensity]) -> MeasuredDensity:
    """The mean of several cores of a bay, or of the means of several bays of a panel.

    What the cores share (``COMMON_SOURCES``) does not average out and is carried through whole. For the rest
    the spread between them counts (JCGM 100:2008, 4.2.3, from memory), but never less than what the
    instruments alone would give.

    Raises ``Refusal`` for an empty list.
    """
    if not cores:
        raise Refusal("A mean needs at least one core.")
    budgets, count = [core.budget for core in cores], len(cores)
    sources = {name: None for budget in budgets for name in budget.contributions}
    shared = {
        name: math.fsum(budget.contributions.get(name, 0.0) for budget in budgets) / count
        for name in sources
        if name in COMMON_SOURCES
    }
    single = {
        name: math.hypot(*(budget.contributions.get(name, 0.0) for budget in budgets)) / count
        for name in sources
        if name not in COMMON_SOURCES
    }
    values = [budget.value for budget in budgets]
    if count > 1 and (spread := type_a(values).standard_uncertainty) > math.hypot(*single.values()):
        single = {"spread": spread}
    return MeasuredDensity(Budget(math.fsum(values) / count, {**single, **shared}))


def pounds_per_cubic_foot(budget: Budget) -> Budget:
    """A budget in kg/m³ as one in lb/ft³."""
    return budget.scaled(1 / POUND_PER_CUBIC_FOOT)
