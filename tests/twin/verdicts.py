"""Amounts judged by their limits."""

from collections.abc import Iterator
from random import Random

from qc_app.measure.conformity import Limits, Rule, judge
from tests.twin.case import Case
from tests.twin.lengths import SIXTY_FOURTH

RULES = tuple(rule.value for rule in Rule)


def judged(case: Case) -> Case:
    """The verdict on an amount."""
    amount, lower, upper, rounded_to, uncertainty = (
        None if case[name] is None else int(case[name])
        for name in ("amount", "lower", "upper", "rounded_to", "standard_uncertainty")
    )
    assert amount is not None
    limits = Limits(lower, upper, rounded_to)
    return {"verdict": judge(amount, limits, standard_uncertainty=uncertainty, rule=Rule(case["rule"])).value}


def judged_cases(random: Random) -> Iterator[Case]:
    """Amounts on, beside and between limits and their guard bands, by every rule; limits that cannot be."""
    lower, upper, uncertainty = -2 * SIXTY_FOURTH, 4 * SIXTY_FOURTH, SIXTY_FOURTH // 2
    band = 2 * uncertainty
    edges = [end + guard for end in (lower, upper) for guard in (-band, 0, band)]
    for rule in RULES:
        for amount in (edge + step for edge in edges for step in (-1, 0, 1)):
            for low, high in ((lower, upper), (None, upper), (lower, None)):
                yield _verdict(amount, low, high, uncertainty=uncertainty, rule=rule)
    for rule in RULES:
        for amount in (-150, -149, -50, -51, 0, 49, 50, 51, 149, 150, 151, 250, 251):
            yield _verdict(amount, -100, 200, rounded_to=100, uncertainty=20, rule=rule)
    for _ in range(120):
        ends = sorted(random.randrange(-9, 10) * SIXTY_FOURTH for _ in range(2))
        amount = random.randrange(-40, 41) * (SIXTY_FOURTH // 4)
        spread = random.choice((1, SIXTY_FOURTH // 4, SIXTY_FOURTH, 3 * SIXTY_FOURTH))
        unit = random.choice((None, None, SIXTY_FOURTH, 4 * SIXTY_FOURTH))
        yield _verdict(amount, *ends, rounded_to=unit, uncertainty=spread, rule=random.choice(RULES))
    yield _verdict(0, 0, 0)
    yield _verdict(0, None, None)
    yield _verdict(0, 1, 0)
    yield _verdict(0, 0, 1, rounded_to=0)
    yield _verdict(0, 0, 1, rounded_to=1)
    for rule in RULES:
        yield _verdict(0, 0, 1, rule=rule)
        yield _verdict(0, 0, 1, uncertainty=0, rule=rule)


def _verdict(
    amount: int,
    lower: int | None,
    upper: int | None,
    *,
    rounded_to: int | None = None,
    uncertainty: int | None = None,
    rule: str = "simple_acceptance",
) -> Case:
    numbers = {
        "amount": amount,
        "lower": lower,
        "upper": upper,
        "rounded_to": rounded_to,
        "standard_uncertainty": uncertainty,
    }
    return {name: None if n is None else str(n) for name, n in numbers.items()} | {"rule": rule}
