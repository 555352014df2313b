"""What ISO 9001:2015 asks this record to hold, clause by clause, and the test that shows it.

Titles of clauses and what they ask for are told from memory, in our own words: read the standard itself.
"""

import ast
from pathlib import Path
from typing import NamedTuple

import pytest

TESTS = Path(__file__).parents[1]


class Shown(NamedTuple):
    """A clause with its title, what the record must hold for it, and the test that shows it."""

    clause: str
    title: str
    holds: str
    file: str
    test: str


RECORD = (
    Shown(
        "7.1.5",
        "Monitoring and measuring resources",
        "which instrument each reading was taken with",
        "work/test_release.py",
        "test_the_frozen_record_says_everything_and_is_in_canonical_form",
    ),
    Shown(
        "7.1.5",
        "Monitoring and measuring resources",
        "what was measured with an instrument that is found wrong, and that it is looked at again",
        "work/test_instrument_checks.py",
        "test_their_panels_are_held_and_the_lead_is_told",
    ),
    Shown(
        "7.1.5",
        "Monitoring and measuring resources",
        "what an instrument was checked against, and what it read",
        "work/test_instrument_checks.py",
        "test_a_check_is_on_the_record_of_the_plant",
    ),
    Shown(
        "8.5.2",
        "Identification and traceability",
        "which lots went into a panel",
        "packet/test_panel_acts.py",
        "test_lots_used_are_listed_once_with_supplier_and_station",
    ),
    Shown(
        "8.5.2",
        "Identification and traceability",
        "which panel was made in place of a scrapped one",
        "packet/test_panel_acts.py",
        "test_a_scrapped_panel_is_left_out_and_the_one_made_for_it_says_so",
    ),
    Shown(
        "8.6",
        "Release of products and services",
        "that what was planned was done before release: nothing leaves with a check missing",
        "work/test_release.py",
        "test_with_a_check_missing_it_is_refused_and_the_check_is_named",
    ),
    Shown(
        "8.6",
        "Release of products and services",
        "evidence of conformity, kept as it was at the release",
        "work/test_release.py",
        "test_a_panel_of_which_all_is_proven_is_released_and_its_record_frozen",
    ),
    Shown(
        "8.6",
        "Release of products and services",
        "who released it, one of those who may",
        "work/test_release.py",
        "test_only_those_who_may_release_do_so_and_only_in_their_plant",
    ),
    Shown(
        "8.7",
        "Control of nonconforming outputs",
        "what is wrong",
        "work/test_nonconformity.py",
        "test_a_reading_outside_opens_a_nonconformity_that_says_what_is_wrong",
    ),
    Shown(
        "8.7",
        "Control of nonconforming outputs",
        "what was done, the concession obtained, and who decided",
        "work/test_release.py",
        "test_the_frozen_record_names_nonconformities_and_who_decided",
    ),
    Shown(
        "8.7",
        "Control of nonconforming outputs",
        "that it does not leave unnoticed",
        "work/test_release.py",
        "test_an_open_nonconformity_keeps_it_until_it_is_accepted_with_who_agreed",
    ),
    Shown(
        "8.7",
        "Control of nonconforming outputs",
        "what is done when it is found after release",
        "work/test_release.py",
        "test_a_withdrawal_tells_the_lead_and_names_everybody_who_has_a_packet",
    ),
    Shown(
        "10.2",
        "Nonconformity and corrective action",
        "the cause, and what was changed so that it does not come again",
        "work/test_nonconformity.py",
        "test_cause_and_correction_are_written_down_after_it_closed_too",
    ),
    Shown(
        "10.2",
        "Nonconformity and corrective action",
        "that the record of it was not changed afterwards",
        "work/check_record/test_readings.py",
        "test_a_reading_changed_by_hand_is_named_with_what_the_record_says_and_what_the_table_says",
    ),
)


def names_in(file: str) -> set[str]:
    """The names of the tests that a file holds."""
    tree = ast.parse((TESTS / file).read_text("utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("shown", RECORD, ids=lambda shown: f"{shown.clause} {shown.holds[:30]}")
def test_each_clause_names_a_test_that_exists(shown: Shown) -> None:
    assert shown.test in names_in(shown.file)


def test_each_clause_that_a_record_is_asked_for_is_there() -> None:
    assert {shown.clause for shown in RECORD} == {"7.1.5", "8.5.2", "8.6", "8.7", "10.2"}
