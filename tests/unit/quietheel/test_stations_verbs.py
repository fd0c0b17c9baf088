"""`quietheel stations`: what cannot be read is told before anybody turns a sensor; silence is told as such."""

from __future__ import annotations

from pathlib import Path

import pytest

from logger.stations import listing
from logger.stations.listing import PortSeen
from quietheel.cli import run
from quietheel.jobs.new import new


@pytest.mark.parametrize("verb", ["zero", "scale"])
def test_a_station_that_is_none_is_told_before_anything_is_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    folder = new("fresh", tmp_path)
    assert run(["stations", "calibrate", verb, "aftt", "-C", str(folder)]) == 2
    said = capsys.readouterr()
    assert "found aftt; one of: aft, pendulum" in said.err
    assert "press a key" not in said.err + said.out
    assert "degrees" not in said.err + said.out


def test_a_silent_port_and_topics_not_looked_for_are_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listing, "ports_seen", lambda seconds: (PortSeen("COM7", "n/a", "", 0, ()),))
    assert run(["stations", "list", str(new("fresh", tmp_path))]) == 0
    said = capsys.readouterr()
    assert "COM7  no description\n    nothing heard in 2 s" in said.out
    assert "no broker is named" in said.err
