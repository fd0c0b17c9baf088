"""A new test folder is on the disk before the command returns."""

from __future__ import annotations

import os
from importlib import resources
from pathlib import Path

import pytest

import logger.archive.durable as durable
from config.folder import TestFolder
from quietheel.jobs.importing import import_readings
from quietheel.jobs.new import new


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> set[tuple[int, int]]:
    """(device, file number) of everything that was brought to the disk."""
    seen: set[tuple[int, int]] = set()
    really = durable.sync_file

    def watched(handle: int) -> None:
        state = os.fstat(handle)
        seen.add((state.st_dev, state.st_ino))
        really(handle)

    monkeypatch.setattr(durable, "sync_file", watched)
    return seen


def unsynced(folder: Path, synced: set[tuple[int, int]]) -> list[str]:
    left = []
    for path in (folder.parent, folder, *folder.rglob("*")):
        if path.is_dir() and os.name != "posix":
            continue  # names are the file system's own business there
        state = path.stat()
        if (state.st_dev, state.st_ino) not in synced:
            left.append(path.name)
    return left


def test_every_file_and_folder_of_a_new_test_is_on_the_disk(tmp_path: Path, synced: set[tuple[int, int]]) -> None:
    folder = new("merrowby", tmp_path)
    assert unsynced(folder, synced) == []
    scaffold = resources.files("quietheel") / "scaffold"
    names = {entry.name for entry in scaffold.iterdir() if not entry.name.startswith("__")}
    assert {path.name for path in folder.iterdir()} == names
    assert b"\r" not in (folder / "plan.toml").read_bytes()


def test_the_plan_an_import_writes_is_on_the_disk(tmp_path: Path, synced: set[tuple[int, int]]) -> None:
    rows = "".join(f"2030-05-14T08:{n:02d}:00Z,aft,heel,{n},deg\n" for n in range(20))
    (tmp_path / "r.csv").write_text("time,sensor,quantity,value,unit\n" + rows, encoding="utf-8")
    (tmp_path / "w.csv").write_text(
        "movement,start,stop,moment_tm\n0,2030-05-14T08:00:00Z,2030-05-14T08:05:00Z,0\n", encoding="utf-8"
    )
    import_readings(tmp_path / "made", tmp_path / "r.csv", tmp_path / "w.csv", displacement_t=900)
    assert "plan.toml" not in unsynced(tmp_path / "made", synced)
    assert TestFolder(tmp_path / "made").plan().vessel.displacement_t == 900


@pytest.mark.parametrize(
    ("system", "port"), [("linux", "/dev/ttyUSB0"), ("win32", "COM4"), ("darwin", "/dev/cu.usbserial-1")]
)
def test_the_port_of_a_new_plan_is_one_of_this_system(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, system: str, port: str
) -> None:
    monkeypatch.setattr("quietheel.jobs.new.sys.platform", system)
    source = TestFolder(new("merrowby", tmp_path)).plan().stations[0].source
    assert getattr(source, "port", None) == port
