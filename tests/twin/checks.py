"""Checks by eye, with and without places marked on the drawing."""

from collections.abc import Iterator
from itertools import product

from tests.twin.case import Case
from tests.twin.reading import HOSTILE, reading
from tests.twin.verdicts import RULES


def check_cases() -> Iterator[Case]:
    """Checks passed and failed, answers that are neither, and places of faults."""
    yield from _checks()
    yield from _marked_checks()


def _checks() -> Iterator[Case]:
    answers = ("yes", "no", " YES ", "No\n", "\u00a0no", "y", "maybe  so", "ſ", "Ⓨes", "YES" * 30, *HOSTILE)
    faults = ("", " ", "0", " 0 ", "00", "1", "2", " 17\u00a0", "9999", "10000", "-1", "two", "٣")
    for passed, count in product(answers, faults[::2]):
        yield reading("check", {"passed": passed, "faults": count}, (None, 0, None))
    for passed, count in product(("yes", "no"), faults[1::2]):
        yield reading("check", {"passed": passed, "faults": count}, (None, 2, None))
    for entries in ({}, {"passed": "yes"}, {"passed": "no"}, {"faults": "2"}):
        yield reading("check", entries, (None, 0, None))
    yield reading("check", {"passed": "no", "faults": "1"}, (None, 0, None), RULES[1])


def _marked_checks() -> Iterator[Case]:
    """Faults with their places: one mark, several, marked twice, too many, off the panel."""
    places = (
        *("250,500", " 250 , 500;810,120", "0,0; 1000,1000", "250,500\u00a0; 1,1", "1\t,\n2", "007,0010"),
        *(
            "250,500; 250, 500",
            "250,500; 0250,500",
            "1001,0",
            "0,1001",
            "-1,0",
            "250",
            "250,500;",
            ";",
            "1.5,2",
        ),
        *("1,2,3", "٣,1", "1,\u00a02", "12345,0", "a,b", "\ufeff1,2", "<b>,{given}", "📏" * 41, " \x1f"),
        *("; ".join(f"{at},{at}" for at in range(count)) for count in (19, 20, 21)),
    )
    for where in places:
        yield reading("check", {"passed": "no", "where": where}, (None, 0, None))
        yield reading("check", {"passed": "no", "faults": "2", "where": where}, (None, 2, None))
    for faults in ("1", "3", "x", "0"):
        yield reading("check", {"passed": "no", "faults": faults, "where": "1,2; 3,4"}, (None, 0, None))
    for where in ("1,2", " ", "x"):
        yield reading("check", {"passed": "yes", "where": where}, (None, 0, None))
