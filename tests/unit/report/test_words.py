"""Every code that a window can be given has its words, and no words stand for a code that there is not."""

from __future__ import annotations

import re
from pathlib import Path

from reduction.report.words import REASON, reason_words

ROOT = Path(__file__).parents[3]
CHECK = re.compile(r'Check\(\s*(?:code=)?"([a-z_]+)"')


def table_of_codes() -> set[str]:
    """Codes of the README's table of reasons."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = text.partition("| code | what it means |")[2].partition("\n\n")[0]
    return {
        code for row in table.splitlines() for code in re.findall(r"`([a-z_]+)`", row.split("|")[1:2][0] if row else "")
    }


def test_every_code_of_the_table_has_its_words_and_no_other() -> None:
    assert set(REASON) == table_of_codes()
    assert reason_words("no_record") == "no readings of heel, or too few"


def test_every_check_of_a_window_gives_a_code_of_the_table() -> None:
    found = {code for file in (ROOT / "dsp" / "checks").glob("*.py") for code in CHECK.findall(file.read_text("utf-8"))}
    assert len(found) > 12
    assert found <= set(REASON)
