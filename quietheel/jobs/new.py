"""Make a test folder: every file a stability test needs, commented, ready to fill in."""

from __future__ import annotations

import re
import sys
from collections.abc import Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

from config.errors import bad
from config.files import is_device
from logger.archive.durable import make_folder, write_whole


def new(name: str, parent: Path | str = ".") -> Path:
    """Write the scaffold of a test folder called ``name`` under ``parent``; it is on the disk when this returns.

    Returns
    -------
    Path of the new folder.

    Raises
    ------
    BadInput where the name cannot be a folder's or something of that name stands there already; nothing is touched.

    Example
    -------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as parent:
    ...     folder = new("merrowby", parent)
    ...     (folder / "plan.toml").is_file()
    True
    """
    if not re.fullmatch(r"[\w][\w .+-]{0,63}", name) or name.endswith((".", " ")):
        raise bad("command line", "NAME", repr(name), "letters, digits, spaces, dots, plus, minus, underscore")
    if is_device(name):
        raise bad("command line", "NAME", repr(name), "a name that Windows does not keep for a device")
    folder = Path(parent) / name
    if folder.exists():
        raise bad("command line", "NAME", str(folder), "a name that is not taken; nothing was written")
    _copy(resources.files("quietheel") / "scaffold", folder, {"@NAME@": name, "@PORT@": port_of(sys.platform)})
    return folder


def port_of(system: str) -> str:
    """A serial port as ``sys.platform`` names them.

    >>> port_of("linux"), port_of("win32")
    ('/dev/ttyUSB0', 'COM4')
    """
    return {"win32": "COM4", "darwin": "/dev/cu.usbserial-1"}.get(system, "/dev/ttyUSB0")


def _copy(source: Traversable, target: Path, words: Mapping[str, str]) -> None:
    make_folder(target)
    for entry in source.iterdir():
        if entry.is_dir():
            _copy(entry, target / entry.name, words)
        elif not entry.name.endswith((".py", ".pyc")):
            text = entry.read_text(encoding="utf-8")
            for word, meant in words.items():
                text = text.replace(word, meant)
            write_whole(target / entry.name, text.encode())
