"""What Windows and macOS do differently, emulated here: held files, device names, coarse clocks, the drive's memory."""

import asyncio
import os
import socket
import types
from pathlib import Path

import pytest
from hand_clock import HandClock

from config.errors import BadInput
from config.files import is_device, put_in_place
from config.stations import SerialSource, Station
from logger.archive import durable
from logger.archive.reader import read_series
from logger.archive.seal import Sealer
from logger.archive.writer import RunWriter
from logger.chain import append_line, read_lines
from logger.clock import SECOND, Anchor, take_anchor
from logger.records import Channel, Quantity, Reading
from logger.service import run_logger
from quietheel.jobs.new import new

AFT = Channel("aft", Quantity.HEEL, "deg", "test")


def held(number: int = 32) -> PermissionError:
    """What os.replace raises on Windows while somebody has the file open."""
    error = PermissionError(13, "The process cannot access the file because it is being used by another process")
    error.winerror = number
    return error


class Held:
    """Refuses so many renames, then lets them through."""

    def __init__(self, monkeypatch, times, error=None):
        self.left, self.error = times, error or held()
        true_replace = Path.replace

        def replace(path, target):
            if self.left > 0:
                self.left -= 1
                raise self.error
            return true_replace(path, target)

        monkeypatch.setattr(Path, "replace", replace)


@pytest.mark.parametrize("number", [5, 32])
def test_a_file_held_open_for_a_moment_is_waited_for(tmp_path, monkeypatch, number):
    part, target, slept = tmp_path / "a.tmp", tmp_path / "a", []
    part.write_text("new", encoding="utf-8")
    target.write_text("old", encoding="utf-8")
    Held(monkeypatch, 3, held(number))
    put_in_place(part, target, slept.append)
    assert target.read_text(encoding="utf-8") == "new" and not part.exists() and len(slept) == 3


@pytest.mark.parametrize("error", [held(), PermissionError(13, "Permission denied"), OSError(28, "No space")])
def test_a_file_that_cannot_be_replaced_is_said_and_both_stay(tmp_path, monkeypatch, error):
    part, target = tmp_path / "a.tmp", tmp_path / "a"
    part.write_text("new", encoding="utf-8")
    target.write_text("old", encoding="utf-8")
    Held(monkeypatch, 10**6, error)
    with pytest.raises(OSError):
        put_in_place(part, target, lambda _: None)
    assert target.read_text(encoding="utf-8") == "old" and part.exists()


def rows(count, start=0):
    return [
        Reading("aft", Quantity.HEEL, 1_900_000_000 * SECOND + n * 10**7, None, n / 1000, "", sequence=n)
        for n in range(start, start + count)
    ]


def test_a_run_whose_files_are_held_open_records_and_seals_all_the_same(tmp_path, monkeypatch):
    """A reader holds journals, a virus scanner what was just written."""
    Held(monkeypatch, 2)
    true_unlink = Path.unlink

    def unlink(path, missing_ok=False):
        if path.suffix == ".arrows":
            raise held()
        true_unlink(path, missing_ok)

    monkeypatch.setattr(Path, "unlink", unlink)
    writer = RunWriter(tmp_path, [AFT], "", HandClock())
    writer.start()
    writer.append(rows(500))
    assert writer.stop("end").error == ""
    names = {path.suffix for path in writer.folder.iterdir()}
    assert ".parquet" in names and ".arrows" in names
    # Sealed and still there as a journal: every reading once.
    assert [len(series) for series in read_series(tmp_path, repair=False)] == [500]


def test_a_segment_that_cannot_be_put_in_place_stays_a_journal(tmp_path, monkeypatch):
    writer = RunWriter(tmp_path, [AFT], "", HandClock())
    writer.start()
    writer.append(rows(300))
    Held(monkeypatch, 10**6)
    monkeypatch.setattr("config.files.HELD_S", 0.0)
    writer.stop("end")
    assert isinstance(writer._sealer, Sealer) and writer._sealer.waiting
    assert [len(series) for series in read_series(tmp_path, repair=False)] == [300]


@pytest.mark.parametrize("name", ["CON", "nul", "Aux.test", "com1", "LPT9.x", "prn"])
def test_no_test_folder_gets_the_name_of_a_device(tmp_path, name):
    assert is_device(name)
    with pytest.raises(BadInput, match="device"):
        new(name, tmp_path)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["console", "com10", "merrowby", "nuls", "COM"])
def test_other_names_are_free(name):
    assert not is_device(name)


def test_run_folders_and_their_files_have_names_for_every_system(tmp_path):
    writer = RunWriter(tmp_path / "record", [AFT], "", HandClock())
    writer.start()
    append_line(tmp_path / "events.jsonl", lambda number: {"kind": "note"})
    writer.append(rows(10))
    writer.stop("end")
    for path in tmp_path.rglob("*"):
        assert not set('<>:"|?*\\') & set(path.name) and not path.name.endswith((" ", ".")) and not is_device(path.name)
        assert len(str(path.relative_to(tmp_path))) < 80


def test_a_system_clock_that_ticks_is_read_at_its_tick():
    """Windows before CPython 3.13: 15.6 ms; an anchor taken anywhere between two ticks would be off by up to that."""
    now = [5_000_000]

    def monotonic():
        now[0] += 100_000
        return now[0]

    def ticking():
        return 1_900_000_000 * SECOND + now[0] // 15_625_000 * 15_625_000

    anchor = take_anchor(monotonic, ticking, tick_s=0.015625)
    assert anchor.utc_at(0) - 1_900_000_000 * SECOND == pytest.approx(0, abs=1_500_000)
    still = take_anchor(monotonic, lambda: 7, tries=1, tick_s=0.015625)
    assert isinstance(still, Anchor) and still.utc_ns == 7


def test_macos_is_asked_to_empty_the_drives_own_memory(tmp_path, monkeypatch):
    asked, synced = [], []
    monkeypatch.setattr(durable.os, "fsync", synced.append)
    fake = types.SimpleNamespace(F_FULLFSYNC=51, fcntl=lambda handle, what: asked.append(what))
    monkeypatch.setattr(durable, "fcntl", fake)
    durable.sync_file(3)
    assert (asked, synced) == ([51], [])

    def refuse(handle, what):
        raise OSError(45, "Operation not supported")

    fake.fcntl = refuse
    durable.sync_file(3)
    assert synced == [3]
    monkeypatch.setattr(durable, "fcntl", None)
    durable.sync_file(4)
    assert synced == [3, 4]


def test_folders_are_not_opened_where_the_system_cannot(tmp_path, monkeypatch):
    monkeypatch.setattr(durable, "os", types.SimpleNamespace(name="nt", fsync=os.fsync))
    durable.sync_folder(tmp_path / "never made")
    append_line(tmp_path / "lines.jsonl", lambda number: {"kind": "note"})
    durable.write_whole(tmp_path / "x.json", b"{}")
    assert [line.problem for line in read_lines(tmp_path / "lines.jsonl")] == [""]
    assert (tmp_path / "x.json").read_bytes() == b"{}"


def test_the_logger_runs_on_a_loop_that_watches_sockets_and_has_no_signal_handlers(monkeypatch):
    """The default loop of Windows has no add_reader, which MQTT needs; none there has add_signal_handler."""

    def missing(*_):
        raise NotImplementedError

    monkeypatch.setattr(asyncio.SelectorEventLoop, "add_signal_handler", missing)
    if hasattr(asyncio, "ProactorEventLoop"):
        monkeypatch.setattr(asyncio, "ProactorEventLoop", missing)

    async def main():
        loop = asyncio.get_running_loop()
        here, there = socket.socketpair()
        with here, there:
            heard = loop.create_future()
            loop.add_reader(here, lambda: heard.done() or heard.set_result(here.recv(10)))
            there.send(b"x")
            got = await asyncio.wait_for(heard, 5)
            loop.remove_reader(here)
            return got

    assert run_logger(main()) == b"x"


def test_names_of_ports_on_every_system_are_taken_as_they_are():
    for port in ("COM4", "COM14", "\\\\.\\COM14", "/dev/ttyUSB0", "/dev/cu.usbserial-A9X", "rfc2217://pier:4000"):
        assert Station(name="aft", source=SerialSource(type="serial", port=port)).source.port == port
