"""Every example in a docstring gives what it says."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

PACKAGES = ("config", "logger", "dsp", "reduction", "sim", "quietheel")
MODULES = [
    found.name
    for package in PACKAGES
    for found in pkgutil.walk_packages(importlib.import_module(package).__path__, f"{package}.")
    if not found.name.endswith(".__main__")
]


@pytest.mark.parametrize("name", [*PACKAGES, *MODULES])
def test_examples_in_docstrings_give_what_they_say(name: str) -> None:
    found = doctest.testmod(importlib.import_module(name), optionflags=doctest.FAIL_FAST)
    assert found.failed == 0
