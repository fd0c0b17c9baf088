"""Make what was written outlast a power cut, as far as each system lets a program do that."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path
from typing import Any

from config.files import put_in_place

fcntl: Any = None
with contextlib.suppress(ImportError):  # POSIX only
    import fcntl


def sync_file(handle: int) -> None:
    """Wait until a file's bytes are on the disk; raises OSError where the disk refuses.

    On macOS fsync leaves them in the drive's own memory; F_FULLFSYNC does not, where the file system has it
    (fsync(2) of macOS, from memory).
    """
    full = getattr(fcntl, "F_FULLFSYNC", None)
    if full is not None:
        with contextlib.suppress(OSError):
            fcntl.fcntl(handle, full)
            return
    os.fsync(handle)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable where the system can (POSIX); elsewhere the file system journals them."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        sync_file(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that after a crash or a power cut there is either all of it or what was there before."""
    temporary = path.with_name(path.name + ".tmp")
    with temporary.open("wb") as file:
        file.write(data)
        file.flush()
        sync_file(file.fileno())
    put_in_place(temporary, path)
    sync_folder(path.parent)


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, durably; one that is there is left as it is."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)
