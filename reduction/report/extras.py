"""Libraries that only reports need, imported when they are needed."""

from __future__ import annotations

import importlib
from types import ModuleType


class ReportExtraMissing(RuntimeError):
    """Raised when a report is asked for and a library that draws or prints it is not installed."""


def need(module: str) -> ModuleType:
    """Import a library of the ``report`` extra.

    Raises
    ------
    ReportExtraMissing saying what to install. The figures themselves never depend on it: the answer on the terminal and
    ``results/reduction.json`` are complete without.
    """
    try:
        return importlib.import_module(module)
    except ImportError as error:
        library = module.partition(".")[0]
        message = (
            f"the report needs {library}, which is not installed; "
            'install it with: python -m pip install "quietheel[report]"'
        )
        raise ReportExtraMissing(message) from error
