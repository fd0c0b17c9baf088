"""Make a test folder: every file a stability test needs, commented, ready to fill in."""

from __future__ import annotations

import re
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
    _copy(resources.files("quietheel") / "scaffold", folder, name)
    return folder


def _copy(source: Traversable, target: Path, name: str) -> None:
    make_folder(target)
    for entry in source.iterdir():
        if entry.is_dir():
            _copy(entry, target / entry.name, name)
        elif not entry.name.endswith((".py", ".pyc")):
            text = entry.read_text(encoding="utf-8").replace("@NAME@", name)
            write_whole(target / entry.name, text.encode())
