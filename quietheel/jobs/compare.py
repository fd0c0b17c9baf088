"""What changed between two reductions, and by how much."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.errors import bad
from config.folder import TestFolder


@dataclass(frozen=True)
class Change:
    """One thing that differs."""

    what: str
    """Key path in the reduction, such as ``gm.value_m``, ``budget.gm_m[wind].u`` or ``window 3, verdict``."""
    before: object
    after: object
    share: float
    """Difference as a share of the wider of the two 95 % intervals; NaN where there is none."""


@dataclass(frozen=True)
class Comparison:
    """Two reductions held against each other."""

    first: str
    second: str
    results: tuple[Change, ...]
    windows: tuple[Change, ...]
    settings: tuple[Change, ...]
    inputs: tuple[Change, ...]

    @property
    def same(self) -> bool:
        """Whether every result agrees to the last digit."""
        return not self.results and not self.windows


def compare(first: Path | str, second: Path | str, folder: Path | str = ".") -> Comparison:
    """Compare two reductions.

    Parameters
    ----------
    first, second : files, test folders (their ``results/reduction.json``), or names of results in ``folder``.

    Raises
    ------
    BadInput where one of them is no reduction.
    """
    one, two = _load(first, Path(folder)), _load(second, Path(folder))
    return Comparison(
        str(first),
        str(second),
        results=tuple(_changes(_results(one), _results(two), one, two)),
        windows=tuple(_window_changes(one, two)),
        settings=tuple(_changes(_flat(_part(one, "settings")), _flat(_part(two, "settings")))),
        inputs=tuple(_changes(_inputs(one), _inputs(two))),
    )


def _load(which: Path | str, folder: Path) -> dict[str, Any]:
    results = TestFolder(folder).results
    path = Path(which)
    candidates = [path, path / "results" / "reduction.json", results / f"{which}.json", results / str(which)]
    found = next((c for c in candidates if c.is_file()), None)
    if found is None:
        names = ", ".join(sorted(p.stem for p in results.glob("*.json"))) or "none"
        raise bad("command line", "a reduction", str(which), f"a file, a test folder, or one of these results: {names}")
    try:
        value = json.loads(found.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise bad(found.name, "whole file", None, f"JSON written by `quietheel reduce` ({error})") from None
    if not isinstance(value, dict) or "gm" not in value:
        raise bad(found.name, "whole file", None, "a reduction written by `quietheel reduce`")
    return value


def _part(reduction: dict[str, Any], name: str) -> Any:
    return (reduction.get("provenance") or {}).get(name) or {}


def _inputs(reduction: dict[str, Any]) -> dict[str, Any]:
    inputs = _part(reduction, "inputs")
    return dict(inputs) if isinstance(inputs, dict) else {str(name): digest for name, digest in inputs}


def _results(reduction: dict[str, Any]) -> dict[str, Any]:
    return _flat({k: v for k, v in reduction.items() if k not in ("windows", "provenance", "evidence")})


def _flat(value: Any, path: str = "") -> dict[str, Any]:
    if isinstance(value, dict):
        flat: dict[str, Any] = {}
        for key, item in value.items():
            flat.update(_flat(item, f"{path}.{key}" if path else str(key)))
        return flat
    if isinstance(value, list):
        flat = {}
        names = [_name(item) for item in value]
        for position, (name, item) in enumerate(zip(names, value, strict=True)):
            flat.update(_flat(item, f"{path}[{name if name and names.count(name) == 1 else position}]"))
        return flat
    return {path: value}


def _name(item: Any) -> str:
    """What an entry of a list is called, so that it is held against its like wherever it stands in the other list."""
    if isinstance(item, str):
        return item
    names = (item.get(key) for key in ("name", "what", "code", "item", "source")) if isinstance(item, dict) else ()
    return next((name for name in names if isinstance(name, str)), "")


def _changes(
    before: dict[str, Any], after: dict[str, Any], one: dict[str, Any] | None = None, two: dict[str, Any] | None = None
) -> Iterator[Change]:
    for key in [*before, *(k for k in after if k not in before)]:
        old, new = before.get(key), after.get(key)
        if old != new:
            yield Change(key, old, new, _share(key, old, new, before, after) if one and two else math.nan)


def _share(key: str, old: Any, new: Any, before: dict[str, Any], after: dict[str, Any]) -> float:
    if not isinstance(old, (int, float)) or not isinstance(new, (int, float)):
        return math.nan
    stem, _, last = key.rpartition(".")
    unit = last.removeprefix("value")
    interval = f"{stem}.u95{unit}"
    widths = [w for w in (before.get(interval), after.get(interval)) if isinstance(w, (int, float)) and w > 0]
    return abs(new - old) / max(widths) if last.startswith("value") and widths else math.nan


def _window_changes(one: dict[str, Any], two: dict[str, Any]) -> Iterator[Change]:
    before = {w["label"]: w for w in one.get("windows") or []}
    after = {w["label"]: w for w in two.get("windows") or []}
    for label in [*before, *(name for name in after if name not in before)]:
        old, new = before.get(label), after.get(label)
        if old is None or new is None:
            yield Change(f"window {label}", "there" if old else "absent", "there" if new else "absent", math.nan)
            continue
        for key in ("heel_deg", "u95_deg", "moment_tm", "verdict", "reasons", "start", "stop"):
            if old.get(key) != new.get(key):
                share = math.nan
                if key == "heel_deg" and old.get("heel_deg") is not None and new.get("heel_deg") is not None:
                    width = max(old.get("u95_deg") or 0.0, new.get("u95_deg") or 0.0)
                    share = abs(new["heel_deg"] - old["heel_deg"]) / width if width > 0 else math.nan
                yield Change(f"window {label}, {key}", old.get(key), new.get(key), share)
