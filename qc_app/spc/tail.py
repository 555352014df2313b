"""The run rules point by point: the newest end of a series, with just what the next point needs to know."""

from collections.abc import Iterable
from typing import Any

from qc_app.refusal import Refusal
from qc_app.spc.rule_counters import State, counter
from qc_app.spc.run_rules import Rule, as_rules
from qc_app.spc.series import LARGEST, finite, positive


class Tail:
    """The end of a series under run rules; ``add`` takes the next point, at the same cost however long it is.

    Parameters
    ----------
    centre, sigma : centre line and standard deviation of a point.
    rules : names or ``Rule`` objects; all eight when left out.

    Signals are those of ``patterns.find`` over the whole series. ``state`` can be stored as JSON and given
    back to ``resume``. A point that belongs further back is a matter for ``patterns.find_around``.

    Raises
    ------
    Refusal
        For an unknown rule, sigma not above zero, a value that is not finite.

    >>> tail = Tail(0, 1, ["beyond_limit", "two_of_three_outer"])
    >>> [tail.add(value) for value in (2.5, 0.0, 3.5)]
    [(), (), ('beyond_limit', 'two_of_three_outer')]
    """

    def __init__(self, centre: float, sigma: float, rules: Iterable[str | Rule] | None = None) -> None:
        middle, spread = finite(centre, "The centre line"), positive(sigma, "Sigma")
        chosen = as_rules(rules)
        self._names = [rule.name for rule in chosen]
        self._states: list[State] = [counter(rule)[0] for rule in chosen]
        self._watches = [
            (place, rule.name, middle + rule.beyond * spread, middle - rule.beyond * spread, counter(rule)[1])
            for place, rule in enumerate(chosen)
        ]
        self._last: float | None = None

    def add(self, value: float) -> tuple[str, ...]:
        """Takes the next point; gives the names of the rules that signal at it."""
        if not -LARGEST <= value <= LARGEST:
            finite(value, "The point")
        last, self._last = self._last, value
        step = 0 if last is None else (value > last) - (value < last)
        states, signals = self._states, []
        for place, name, upper, lower, count in self._watches:
            states[place], signal = count(states[place], (value > upper) - (value < lower), step)
            if signal:
                signals.append(name)
        return tuple(signals)

    @property
    def state(self) -> dict[str, Any]:  # Any: plain JSON
        """What must be kept to go on later: the last value and what each rule remembers."""
        kept = {name: list(state) for name, state in zip(self._names, self._states, strict=True)}
        return {"last": self._last, "rules": kept}

    @classmethod
    def resume(
        cls,
        state: dict[str, Any],  # Any: plain JSON
        centre: float,
        sigma: float,
        rules: Iterable[str | Rule] | None = None,
    ) -> "Tail":
        """The tail left at ``state``; centre, sigma and rules must be those it was made with.

        Raises
        ------
        Refusal
            If the state is of other rules.
        """
        tail = cls(centre, sigma, rules)
        kept = state["rules"]
        if set(kept) != set(tail._names):
            raise Refusal(
                "The stored state is of the run rules {stored}; asked for are {asked}.",
                stored=", ".join(kept) or "none",
                asked=", ".join(tail._names) or "none",
            )
        tail._last = state["last"]
        tail._states = [tuple(kept[name]) for name in tail._names]
        return tail
