"""A synthetic day is played over the loopback interface; where that does not work, one sentence says so."""

from __future__ import annotations

import errno
import os
import socket
from pathlib import Path

import pytest

from quietheel.cli import OUTSIDE_FAILED, run


def test_demo_without_loopback_ends_in_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def unreachable(*_: object, **__: object) -> socket.socket:
        raise OSError(errno.ENETUNREACH, os.strerror(errno.ENETUNREACH))

    monkeypatch.setattr(socket, "create_connection", unreachable)
    assert run(["demo", "--out", str(tmp_path / "day"), "--seconds", "10"]) == OUTSIDE_FAILED
    said = capsys.readouterr().err.splitlines()
    assert said[-1].startswith("failed outside quietheel: this machine cannot connect to itself at 127.0.0.1")
    assert "Traceback" not in "".join(said)
    assert not list((tmp_path / "day").glob("record/*"))
