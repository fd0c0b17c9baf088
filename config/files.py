"""What one file needs on every system: a digest, a new version put in place, a name that Windows takes."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable
from pathlib import Path

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
