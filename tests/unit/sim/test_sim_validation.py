"""The figures of docs/simulator.md, without those of speed and with a shorter wind record."""

from itertools import chain

import pytest

from sim.validation import Figure, air_and_devices, roll, speed, statics


@pytest.mark.parametrize("figure", list(chain(roll.figures(), statics.figures())), ids=lambda f: f.what)
def test_roll_and_statics_hold(figure: Figure) -> None:
    assert figure.holds, figure.line()


@pytest.mark.parametrize("figure", [*air_and_devices.aloft(), air_and_devices.pendulum()], ids=lambda f: f.what)
def test_devices_hold(figure: Figure) -> None:
    assert figure.holds, figure.line()


def test_wind_spectrum_and_coherence_hold() -> None:
    failing = [figure.line() for figure in air_and_devices.spectra() if not figure.holds]
    assert not failing


@pytest.mark.slow
def test_days_are_made_as_fast_as_promised() -> None:
    failing = [figure.line() for figure in speed.figures() if not figure.holds]
    assert not failing
