"""The examples in the docstrings of the physics and of costing are true."""

import doctest
import importlib
import pkgutil

import pytest

from inventory import physics

MODULES = [
    "inventory.stock.costing",
    *(f"inventory.physics.{module.name}" for module in pkgutil.iter_modules(physics.__path__)),
]
WITHOUT_EXAMPLES = {"inventory.physics.lazy", "inventory.physics.ranges"}


@pytest.mark.parametrize("name", MODULES)
def test_the_examples_of_a_module_are_true(name):
    found = doctest.testmod(importlib.import_module(name))

    assert found.failed == 0
    assert (found.attempted == 0) is (name in WITHOUT_EXAMPLES)
