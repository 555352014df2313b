"""Survival of run rules that look at the order of points: the chain, with the last value going along.

A trend or an alternation depends on how the next point compares with the last, so the state is a state of the
chain and the last value. Survival as a function of that value is smooth between the lines of the chain; it is
kept at Gauss–Legendre points there, and the integrals above and below the last value are exact for its
interpolating polynomial.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from qc_app.spc.quadrature import gauss_legendre
from qc_app.spc.rule_chain import SIGNAL, Chain
from qc_app.spc.series import Floats

NODES = 6
WIDEST = 1.0
FARTHEST = 8.5
"""Sigmas from its mean beyond which a value is left out: its chance is under 1e-16."""


def ordered_survival(chain: Chain, shift: float) -> Iterator[float]:
    """Chance of no signal in the first 1, 2, … points when the mean lies ``shift`` sigmas off the centre."""
    panels, zones = _panels(chain, shift)
    points, zone_of, rising, falling = _integrals(panels, zones, shift)
    places = [(zone, np.flatnonzero(zone_of == zone)) for zone in dict.fromkeys(zones)]
    first, weights = chain.first[zone_of], rising[0] + falling[0]
    onward = np.vstack((rising.T, falling.T))
    ahead = np.ones((len(chain.upward) + 1, points.size))
    ahead[SIGNAL] = 0
    while True:
        yield float(weights @ ahead[first, np.arange(points.size)])
        parts = [
            np.ascontiguousarray(ahead[:, place])[table[:, zone]]
            for table in (chain.upward, chain.downward)
            for zone, place in places
        ]
        ahead[:-1] = np.hstack(parts) @ onward


def _panels(chain: Chain, shift: float) -> tuple[list[tuple[float, float]], list[int]]:
    """Intervals that cover all likely values from which a run goes on, and the zone each lies in."""
    low, high = shift - FARTHEST, shift + FARTHEST
    panels, zones = [], []
    for zone, (left, right) in enumerate(pairwise([-np.inf, *chain.lines, np.inf])):
        left, right = max(left, low), min(right, high)
        ends_here = np.all(chain.upward[:, zone] == SIGNAL) and np.all(chain.downward[:, zone] == SIGNAL)
        if left < right and not (ends_here and chain.first[zone] == SIGNAL):
            cuts = np.linspace(left, right, int(np.ceil((right - left) / WIDEST)) + 1)
            panels += list(pairwise(cuts.tolist()))
            zones += [zone] * (cuts.size - 1)
    return panels, zones


def _integrals(
    panels: list[tuple[float, float]], zones: list[int], shift: float
) -> tuple[Floats, NDArray[np.intp], Floats, Floats]:
    """Points, their zones, and the weights that integrate over all values above and below each point."""
    points = np.concatenate([gauss_legendre(NODES, *panel)[0] for panel in panels])
    rising = np.zeros((points.size, points.size))
    for place, panel in enumerate(panels):
        own = slice(place * NODES, (place + 1) * NODES)
        rising[: own.start, own] = _weights(panel, panel[0], shift)
        rising[own, own] = [_weights(panel, x, shift) for x in points[own]]
    whole = np.concatenate([_weights(panel, panel[0], shift) for panel in panels])
    return points, np.repeat(zones, NODES), rising, whole - rising


def _weights(panel: tuple[float, float], start: float, shift: float) -> Floats:
    """Weights at a panel's points that integrate a polynomial times the normal density from ``start`` up."""
    base, _ = gauss_legendre(NODES, -1, 1)
    left, right = panel
    y, fine_weights = gauss_legendre(24, start, right)
    density = np.exp(-((y - shift) ** 2) / 2) / np.sqrt(2 * np.pi)
    scaled = (2 * y - left - right) / (right - left)
    basis = np.linalg.solve(
        np.polynomial.legendre.legvander(base, NODES - 1).T,
        np.polynomial.legendre.legvander(scaled, NODES - 1).T,
    )
    weights: Floats = basis @ (density * fine_weights)
    return weights
