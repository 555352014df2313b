"""The examples in the documentation of the statistics do what they show."""

import doctest
import importlib
import pkgutil

import pytest

import qc_app.spc

MODULES = [f"qc_app.spc.{module.name}" for module in pkgutil.iter_modules(qc_app.spc.__path__)]


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_in_docstrings_run(name: str) -> None:
    results = doctest.testmod(importlib.import_module(name))
    assert results.failed == 0


def test_there_are_examples_to_run() -> None:
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = [test for name in MODULES for test in finder.find(importlib.import_module(name)) if test.examples]
    assert len(found) >= len(MODULES) // 2
