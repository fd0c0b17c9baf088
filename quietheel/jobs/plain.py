"""Values that JSON can say."""

from __future__ import annotations

from typing import Any


def plain(value: Any) -> Any:
    """Turn numpy values, paths and NaN into what JSON can say.

    >>> plain({"a": float("nan"), "b": (1, 2.5)})
    {'a': None, 'b': [1, 2.5]}
    """
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if value == value and abs(value) != float("inf") else None
    if value is None or isinstance(value, (str, int, bool)):
        return value
    if hasattr(value, "tolist"):
        return plain(value.tolist())
    return str(value)
