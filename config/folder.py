"""Where everything of one stability test lies."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from config.errors import bad
from config.load import load_plan
from config.plan import Plan


@dataclass(frozen=True)
class TestFolder:
    """One stability test as plain files in one folder.

    >>> TestFolder(Path("merrowby")).events.name
    'events.jsonl'
    """

    __test__ = False  # not a test class, whatever pytest makes of its name

    path: Path

    @property
    def plan_file(self) -> Path:
        """``plan.toml``."""
        return self.path / "plan.toml"

    @property
    def record(self) -> Path:
        """Folder of all runs."""
        return self.path / "record"

    @property
    def events(self) -> Path:
        """Marks and confirmations, append-only."""
        return self.path / "events.jsonl"

    @property
    def results(self) -> Path:
        """Reductions and reports."""
        return self.path / "results"

    @property
    def tanks(self) -> Path:
        """Sounding tables."""
        return self.path / "tanks"

    def check_name(self) -> None:
        """Refuse a new folder that could not be opened on Windows; raises BadInput."""
        if not self.path.exists() and is_device(self.path.name):
            raise bad("command line", "folder", self.path.name, "a name that Windows does not keep for a device")

    def plan(self) -> Plan:
        """Read the plan; raises BadInput with every fault, or that this is no test folder."""
        if not self.plan_file.is_file():
            what = "no plan here" if self.path.is_dir() else "no such folder"
            raise bad(
                "plan.toml",
                f"folder {self.path.resolve().name}",
                None,
                f"{what}; go to a test folder, name one, or make one with `quietheel new NAME`",
            )
        return load_plan(self.plan_file)

    def inside(self, name: str) -> Path:
        """Path of a file named in the plan; raises BadInput where the name leads outside the folder."""
        path = (self.path / name).resolve()
        if not path.is_relative_to(self.path.resolve()):
            raise bad("plan.toml", "a file name", name, "a file inside the test folder")
        return path


HELD_S = 2.0
"""How long a file is waited for that another program holds open."""
_HELD = (5, 32)
"""Windows: access denied, sharing violation; what a reader or a virus scanner causes for a moment."""
_NUMBERED = {f"{device}{number}" for device in ("COM", "LPT") for number in "0123456789¹²³"}
_DEVICES = {"CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$"} | _NUMBERED


def put_in_place(part: Path, target: Path, sleep: Callable[[float], None] = time.sleep) -> None:
    """Rename ``part`` to ``target`` and so replace what is there; raises OSError where that cannot be.

    Windows refuses while anybody has either of them open; that mostly passes, so it is tried again for `HELD_S`.
    """
    for _ in range(round(HELD_S / 0.1)):
        try:
            part.replace(target)
        except PermissionError as error:
            if getattr(error, "winerror", None) not in _HELD:
                raise
            sleep(0.1)
        else:
            return
    part.replace(target)


def is_device(name: str) -> bool:
    """Whether Windows takes a file name for a device, with whatever ending: a folder of tests must open there too.

    >>> is_device("aux.toml"), is_device("com10")
    (True, False)
    """
    return name.partition(".")[0].strip().upper() in _DEVICES


def digest(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
