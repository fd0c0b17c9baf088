"""The example day of the Merrowby, made once."""

import pytest

from config.plan import Plan
from dsp.types import Day
from reduction.report import Traces, plot_traces
from reduction.types import Answer
from tests.report_example import example_answer, example_day, example_plan


@pytest.fixture(scope="session")
def plan() -> Plan:
    return example_plan()


@pytest.fixture(scope="session")
def day() -> Day:
    return example_day()


@pytest.fixture(scope="session")
def traces(day: Day) -> Traces:
    return plot_traces(day)


@pytest.fixture(scope="session")
def answer() -> Answer:
    return example_answer()
