"""Moisture content of wood, as a percentage of its dry mass."""

from fractions import Fraction

from qc_app.measure.entry import LONGEST_ENTRY, decimal_number, tidied
from qc_app.refusal import Refusal, shortened

WETTEST = 200
"""Percent; green sapwood holds up to about this much water (Wood Handbook FPL-GTR-282, table 4-1)."""


def parse_percent(text: str) -> Fraction:
    """The exact percentage that ``text`` states: ``14.5``, ``14.5 %``, ``14,5%``; from 0 to 200.

    Raises ``Refusal`` for anything else.

    >>> parse_percent("14.5 %")
    Fraction(29, 2)
    """
    if len(text) > LONGEST_ENTRY:
        raise Refusal("“{given}” is too long for a percentage.", given=shortened(text))
    percent = decimal_number(tidied(text).removesuffix("%").rstrip())
    if percent > WETTEST:
        raise Refusal(
            "A percentage of {given} is out of reach: from 0 to {wettest}.",
            given=tidied(text),
            wettest=WETTEST,
        )
    return percent
