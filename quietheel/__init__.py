"""The front door of quietheel: everything the command line does, as function calls.

>>> import quietheel
>>> answer = quietheel.reduce("merrowby")           # doctest: +SKIP
>>> answer.gm.value.gm.value, answer.gm.value.gm.u95()  # doctest: +SKIP
(1.104, 0.006)

Functions are loaded when first used, so that ``quietheel --help`` answers at once.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

__version__ = "0.1.0"

_JOBS = {
    "new": "quietheel.jobs.new",
    "check_plan": "quietheel.jobs.plan",
    "brief": "quietheel.jobs.brief",
    "forms": "quietheel.jobs.brief",
    "survey": "quietheel.jobs.surveying",
    "import_survey": "quietheel.jobs.surveying",
    "waterline": "quietheel.jobs.waterline",
    "log": "quietheel.jobs.logging",
    "mark": "quietheel.jobs.marking",
    "demo": "quietheel.jobs.demo",
    "import_readings": "quietheel.jobs.importing",
    "open_day": "quietheel.jobs.day",
    "read_frame": "quietheel.jobs.day",
    "windows": "quietheel.jobs.windows",
    "suggest": "quietheel.jobs.windows",
    "reduce": "quietheel.jobs.reduce",
    "report": "quietheel.jobs.report",
    "compare": "quietheel.jobs.compare",
    "simulate": "quietheel.jobs.simulate",
    "verify": "quietheel.jobs.verify",
}

__all__ = ["__version__", *sorted(_JOBS)]

if TYPE_CHECKING:
    from quietheel.jobs.brief import brief as brief
    from quietheel.jobs.brief import forms as forms
    from quietheel.jobs.compare import compare as compare
    from quietheel.jobs.day import open_day as open_day
    from quietheel.jobs.day import read_frame as read_frame
    from quietheel.jobs.demo import demo as demo
    from quietheel.jobs.importing import import_readings as import_readings
    from quietheel.jobs.logging import log as log
    from quietheel.jobs.marking import mark as mark
    from quietheel.jobs.new import new as new
    from quietheel.jobs.plan import check_plan as check_plan
    from quietheel.jobs.reduce import reduce as reduce
    from quietheel.jobs.report import report as report
    from quietheel.jobs.simulate import simulate as simulate
    from quietheel.jobs.surveying import import_survey as import_survey
    from quietheel.jobs.surveying import survey as survey
    from quietheel.jobs.verify import verify as verify
    from quietheel.jobs.waterline import waterline as waterline
    from quietheel.jobs.windows import suggest as suggest
    from quietheel.jobs.windows import windows as windows


def __dir__() -> list[str]:
    return __all__


def __getattr__(name: str) -> object:
    if name in _JOBS:
        return getattr(importlib.import_module(_JOBS[name]), name)
    raise AttributeError(f"module 'quietheel' has no attribute {name!r}")
