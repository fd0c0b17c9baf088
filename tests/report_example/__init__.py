"""For tests of everything printed: an invented day of the Merrowby, every part filled, two windows spoilt."""

from tests.report_example.answer import example_answer
from tests.report_example.day import example_day
from tests.report_example.plan import example_plan

__all__ = ["example_answer", "example_day", "example_plan"]
