"""The simulator held against closed forms and published figures: ``python -m sim.validation`` prints every one."""

from sim.validation.figure import Figure

__all__ = ["Figure"]
