"""How long the disk will last, as log and page say it."""

from __future__ import annotations

import math
import shutil
from collections import namedtuple
from pathlib import Path

import pytest

from logger.archive import disk
from logger.archive.disk import RESERVE_BYTES, DiskWatch, disk_state, hours_left

Usage = namedtuple("Usage", "total used free")


def test_the_reserve_is_kept_back_and_silence_fills_no_disk() -> None:
    assert hours_left(RESERVE_BYTES, 600.0) == 0.0
    assert hours_left(RESERVE_BYTES - 1, 600.0) == 0.0
    assert math.isinf(hours_left(10**12, 0.0))


def test_a_folder_that_is_still_to_be_made_is_on_the_disk_of_its_parent(tmp_path: Path) -> None:
    assert disk_state(tmp_path / "record" / "run", 600.0).free_bytes > 0


def test_a_logger_that_looks_again_says_the_same_as_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0
    monkeypatch.setattr(disk, "wall_s", lambda: now)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(0, 0, 10**10))
    watch = DiskWatch()
    assert watch.look(tmp_path, 0) is None
    now = 1.0
    assert watch.look(tmp_path, 600) is None
    now = 10.0
    assert watch.look(tmp_path, 6000) == pytest.approx(hours_left(10**10, 600.0))
    now = 20.0
    assert watch.look(tmp_path, 6000) == pytest.approx(hours_left(10**10, 0.8 * 600.0))


def test_a_disk_that_cannot_be_asked_is_not_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuses(_: Path) -> Usage:
        raise OSError(5, "no answer")

    now = 0.0
    monkeypatch.setattr(disk, "wall_s", lambda: now)
    monkeypatch.setattr(shutil, "disk_usage", refuses)
    watch = DiskWatch()
    watch.look(tmp_path, 0)
    now = 10.0
    assert watch.look(tmp_path, 6000) is None
