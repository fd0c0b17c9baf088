"""Where everything of one stability test lies."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from config.errors import bad
from config.files import is_device
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
