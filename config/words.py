"""Words put together as in a sentence."""

from __future__ import annotations

from collections.abc import Sequence


def listed(words: Sequence[str]) -> str:
    """Join words as in a sentence; of none nothing is said.

    >>> listed(["2"]), listed(["2", "5", "7"])
    ('2', '2, 5 and 7')
    """
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def first_of(names: Sequence[str], most: int) -> str:
    """The first names of a list, and how many more there are.

    >>> first_of(["aft", "mid", "hold"], 2), first_of(["aft"], 2)
    ('aft, mid and 1 more', 'aft')
    """
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def shortened(text: str, most: int = 80) -> str:
    """Cut a long text, and show that it was cut.

    >>> shortened("a long remark", 8)
    'a lon...'
    """
    return text if len(text) <= most else text[: most - 3] + "..."
