"""The eight run rules by name: their lengths, the distances they compare with, and their words.

Sources: Western Electric, *Statistical Quality Control Handbook* (1956), section I-B; L. S. Nelson, "The
Shewhart control chart – tests for special causes", *Journal of Quality Technology* 16(4), 1984, 237–239. The
lengths are Nelson's unless a ``Rule`` says otherwise.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from qc_app.refusal import Refusal, shortened
from qc_app.spc.series import finite

LONGEST_ALLOWED = 100
"""Points in the longest window a rule may be given."""

AS_PUBLISHED = -1
"""Stands for the length, count or distance that the rule's source gives."""


@dataclass(frozen=True)
class Published:
    """A run rule as its source gives it; ``spare`` points of its window need not show the pattern."""

    length: int
    spare: int
    beyond: float
    shortest: int
    sentence: str


PUBLISHED = {
    "beyond_limit": Published(
        length=1,
        spare=0,
        beyond=3,
        shortest=1,
        sentence="A point lies more than {beyond} sigma from the centre line (Shewhart 1931).",
    ),
    "run_one_side": Published(
        length=9,
        spare=0,
        beyond=0,
        shortest=1,
        sentence="{length} points in a row lie on one side of the centre line "
        "(Nelson 1984 asks for 9, Western Electric 1956 for 8).",
    ),
    "steady_trend": Published(
        length=6,
        spare=0,
        beyond=0,
        shortest=2,
        sentence="{length} points in a row rise steadily, or fall steadily (Nelson 1984).",
    ),
    "alternating": Published(
        length=14,
        spare=0,
        beyond=0,
        shortest=3,
        sentence="{length} points in a row go up and down by turns (Nelson 1984).",
    ),
    "two_of_three_outer": Published(
        length=3,
        spare=1,
        beyond=2,
        shortest=1,
        sentence="{count} of {length} points in a row lie more than {beyond} sigma from the centre line, on "
        "the same side (Western Electric 1956).",
    ),
    "four_of_five_outer": Published(
        length=5,
        spare=1,
        beyond=1,
        shortest=1,
        sentence="{count} of {length} points in a row lie more than {beyond} sigma from the centre line, on "
        "the same side (Western Electric 1956).",
    ),
    "hugging_centre": Published(
        length=15,
        spare=0,
        beyond=1,
        shortest=1,
        sentence="{length} points in a row lie within {beyond} sigma of the centre line (Nelson 1984).",
    ),
    "avoiding_centre": Published(
        length=8,
        spare=0,
        beyond=1,
        shortest=2,
        sentence="{length} points in a row lie on both sides of the centre line with none within {beyond} "
        "sigma of it (Nelson 1984).",
    ),
}

ALL = tuple(PUBLISHED)
"""The names of all eight rules."""

LONGEST_WINDOW = max(rule.length for rule in PUBLISHED.values())
"""Points in the longest published window: a point's signals depend on so many points, itself the last."""


@dataclass(frozen=True)
class Rule:
    """A run rule: ``count`` of ``length`` consecutive points must show the pattern named.

    ``beyond`` is the distance from the centre line, in sigmas, that the rule compares with (of no effect on
    ``run_one_side``, ``steady_trend`` and ``alternating``). What is left out is as published.

    Raises
    ------
    Refusal
        For an unknown name, or a length, count or distance the rule cannot have.

    >>> Rule("run_one_side", 8)
    Rule(name='run_one_side', length=8, count=8, beyond=0)
    """

    name: str
    length: int = AS_PUBLISHED
    count: int = AS_PUBLISHED
    beyond: float = AS_PUBLISHED

    def __post_init__(self) -> None:
        published = _published(self.name)
        if self.length == AS_PUBLISHED:
            object.__setattr__(self, "length", published.length)
        if self.count == AS_PUBLISHED:
            object.__setattr__(self, "count", max(1, self.length - published.spare))
        if self.beyond == AS_PUBLISHED:
            object.__setattr__(self, "beyond", published.beyond)
        self._check(published)

    def _check(self, published: Published) -> None:
        if not published.shortest <= self.length <= LONGEST_ALLOWED:
            raise Refusal(
                "The run rule {name} looks at {shortest} to {longest} points. Given: {given}.",
                name=self.name,
                shortest=published.shortest,
                longest=LONGEST_ALLOWED,
                given=self.length,
            )
        fewest = 1 if published.spare else self.length
        if not fewest <= self.count <= self.length:
            raise Refusal(
                "The run rule {name} needs {fewest} to {length} of {length} points. Given: {given}.",
                name=self.name,
                fewest=fewest,
                length=self.length,
                given=self.count,
            )
        if finite(self.beyond, "The distance from the centre line") < 0:
            raise Refusal(
                "The distance from the centre line cannot be below zero. Given: {given}.", given=self.beyond
            )

    @property
    def memory(self) -> int:
        """How many earlier points decide, with a point itself, whether the rule signals there."""
        return self.length - 1


def as_rules(rules: Iterable[str | Rule] | None) -> tuple[Rule, ...]:
    """The rules named, each as a ``Rule``; all eight for None. Refuses one named twice."""
    wanted = ALL if rules is None else (rules,) if isinstance(rules, str | Rule) else rules
    chosen = tuple(rule if isinstance(rule, Rule) else Rule(rule) for rule in wanted)
    names = [rule.name for rule in chosen]
    for name in names:
        if names.count(name) > 1:
            raise Refusal("The run rule {name} is given twice. Accepted is one of each name.", name=name)
    return chosen


def describe(rule: str | Rule) -> str:
    """What the rule looks for and who proposed it, in one plain sentence.

    >>> describe("steady_trend")
    '6 points in a row rise steadily, or fall steadily (Nelson 1984).'
    """
    asked = rule if isinstance(rule, Rule) else Rule(rule)
    facts = {"length": asked.length, "count": asked.count, "beyond": f"{asked.beyond:g}"}
    return PUBLISHED[asked.name].sentence.format(**facts)


def _published(name: str) -> Published:
    if name not in PUBLISHED:
        raise Refusal(
            "There is no run rule “{given}”. Known: {known}.",
            given=shortened(str(name)),
            known=", ".join(PUBLISHED),
        )
    return PUBLISHED[name]
