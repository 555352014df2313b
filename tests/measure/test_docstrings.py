"""The examples in the docstrings of the measure package give what they say."""

import doctest
import importlib
import pkgutil

import pytest

import qc_app.measure

MODULES = sorted(found.name for found in pkgutil.walk_packages(qc_app.measure.__path__, "qc_app.measure."))


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_are_true(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.failed == 0


def test_the_package_has_examples_at_all() -> None:
    finder = doctest.DocTestFinder()
    modules = [importlib.import_module(name) for name in MODULES]
    assert sum(bool(found.examples) for module in modules for found in finder.find(module)) >= 10
