"""Which chart finds a given shift soonest, when false alarms may come no more often than agreed."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from itertools import combinations

from qc_app.refusal import Refusal
from qc_app.spc.exact_run_length import cusum, ewma, shewhart
from qc_app.spc.run_length_distribution import RunLength
from qc_app.spc.run_rules import Rule
from qc_app.spc.series import positive

WEIGHTS = (0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8)
EXTRA_RULES = ("two_of_three_outer", "four_of_five_outer", "run_one_side")


@dataclass(frozen=True)
class Choice:
    """A chart with its settings, how long it runs with no shift, and how soon it finds the shift.

    ``settings`` are the arguments of the chart: ``rules`` for single values, ``weight`` and ``width`` for
    weighted averages, ``allowance`` and ``decision`` (in sigmas) for cumulative sums.
    """

    chart: str
    settings: dict[str, object]
    undisturbed: RunLength
    shifted: RunLength


@dataclass(frozen=True)
class ShopTerms:
    """What a chart means for a shop: working days between false signals, panels until a shift is found."""

    days_between_false_signals: float
    panels_until_found: float
    shift: float

    def __str__(self) -> str:
        return (
            f"One false signal every {self.days_between_false_signals:.0f} working days on average; "
            f"a shift of {self.shift:g} sigma is found after {self.panels_until_found:.0f} panels on average."
        )


def in_shop_terms(
    undisturbed: RunLength, shifted: RunLength, shift: float, panels_per_day: float = 18
) -> ShopTerms:
    """Run lengths in working days and panels.

    >>> terms = in_shop_terms(shewhart(["beyond_limit"]), shewhart(["beyond_limit"], 0.5), shift=0.5)
    >>> round(terms.panels_until_found, 1)
    155.2
    """
    return ShopTerms(undisturbed.days(panels_per_day), shifted.average, shift)


def design(shift: float, false_alarm_every: float) -> tuple[Choice, ...]:
    """Charts that find a shift, soonest first, none signalling falsely more often than asked.

    Limits, widths and decisions are set so that each chart's run length with no shift is the one asked for;
    charts whose other rules alone signal too often are left out.

    Parameters
    ----------
    shift : in sigmas of a plotted point, not zero.
    false_alarm_every : points between false alarms, on average; 10 to 1e6.

    Raises
    ------
    Refusal
        If the shift is zero or not finite, or the run length out of range.

    >>> best = design(shift=1.0, false_alarm_every=370)[0]
    >>> best.chart, round(best.undisturbed), best.shifted < 10
    ('weighted averages', 370, True)
    """
    size = positive(abs(shift), "The shift")
    if not 10 <= positive(false_alarm_every, "The points between false alarms") <= 1e6:
        raise Refusal(
            "The points between false alarms are 10 to 1000000. Given: {given}.", given=false_alarm_every
        )
    found = [
        *_single(size, false_alarm_every),
        *_averaged(size, false_alarm_every),
        *_summed(size, false_alarm_every),
    ]
    return tuple(sorted(found, key=lambda choice: choice.shifted))


def _single(shift: float, wanted: float) -> Iterator[Choice]:
    extras = [extra for count in range(4) for extra in combinations(EXTRA_RULES, count)]
    for extra in extras:
        limit = _setting(partial(_with_limit, extra), wanted, 1.5, 5.5)
        if limit is not None:
            rules: tuple[Rule | str, ...] = (Rule("beyond_limit", beyond=limit), *extra)
            yield Choice("single values", {"rules": rules}, shewhart(rules), shewhart(rules, shift))


def _with_limit(extra: tuple[str, ...], limit: float) -> RunLength:
    return shewhart((Rule("beyond_limit", beyond=limit), *extra))


def _averaged(shift: float, wanted: float) -> Iterator[Choice]:
    for weight in WEIGHTS:
        width = _setting(partial(ewma, weight), wanted, 1.0, 5.5)
        if width is not None:
            settings: dict[str, object] = {"weight": weight, "width": width}
            yield Choice("weighted averages", settings, ewma(weight, width), ewma(weight, width, shift))


def _summed(shift: float, wanted: float) -> Iterator[Choice]:
    for allowance in (0.35 * shift, 0.5 * shift, 0.65 * shift):
        decision = _setting(partial(cusum, allowance), wanted, 0.1, 30.0)
        if decision is not None:
            settings: dict[str, object] = {"allowance": allowance, "decision": decision}
            yield Choice(
                "cumulative sums", settings, cusum(allowance, decision), cusum(allowance, decision, shift)
            )


def _setting(run: Callable[[float], RunLength], wanted: float, low: float, high: float) -> float | None:
    """The setting at which a run length that grows with it is the one wanted; None if none reaches it."""
    from scipy.optimize import brentq

    def excess(setting: float) -> float:
        return math.log(run(setting) / wanted)

    if excess(low) > 0:
        return None
    # Upwards in small steps: a run length far beyond the one wanted takes long to work out.
    upper = low
    while excess(upper) < 0:
        low, upper = upper, upper * 1.2
        if upper > high:
            return None
    return float(brentq(excess, low, upper, xtol=1e-9))
