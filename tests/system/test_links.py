"""Every link in the documents leads somewhere in this tree, and what the README names as a code is a code."""

import re
from pathlib import Path

import pytest

TREE = Path(__file__).parents[2]
DOCUMENTS = [
    *(TREE / name for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")),
    *sorted((TREE / "docs").rglob("*.md")),
]


def anchors(text: str) -> set[str]:
    """Headings as the places that a link's ``#...`` names."""
    headings = re.findall(r"^#+ +(.+?)\s*$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.relative_to(TREE).as_posix())
def test_links_lead_somewhere(document: Path) -> None:
    text = document.read_text(encoding="utf-8")
    dead = []
    for link in re.findall(r"\]\(([^)\s]+)\)", re.sub(r"```.*?```", "", text, flags=re.DOTALL)):
        if re.match(r"[a-z]+:", link):
            continue
        file, _, place = link.partition("#")
        target = document.parent / file if file else document
        if not target.exists() or (place and place not in anchors(target.read_text(encoding="utf-8"))):
            dead.append(link)
    assert not dead


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.relative_to(TREE).as_posix())
def test_files_named_in_the_text_are_there(document: Path) -> None:
    text = re.sub(r"```.*?```", "", document.read_text(encoding="utf-8"), flags=re.DOTALL)
    folders = "config|logger|dsp|reduction|quietheel|sim|tests|docs"
    named = set(re.findall(rf"`((?:{folders})/[\w./-]+\.(?:py|md|toml|csv|ipynb|js|css))`", text))
    assert not {name for name in named if "VERB" not in name and not (TREE / name).exists()}


def test_every_reason_that_the_code_gives_stands_in_the_readme() -> None:
    """Reasons are the names of the checks, ``no_record``, and what the comparison between windows says."""
    table = (TREE / "README.md").read_text(encoding="utf-8").partition("Reasons:")[2].partition("\n\nAll checks")[0]
    documented = {code for row in re.findall(r"^\| (`.*?) \|", table, flags=re.MULTILINE) for code in code_words(row)}
    given = set()
    for file in [*(TREE / "dsp").rglob("*.py"), *(TREE / "reduction").rglob("*.py")]:
        text = file.read_text(encoding="utf-8")
        given |= set(re.findall(r'Check\(\s*(?:name=|code=)?"([a-z_]+)"', text))
        given |= set(re.findall(r'"rejected", \("([a-z_]+)",\)', text))
        given |= set(re.findall(r'code: str = "([a-z_]+)"', text))
    between = (TREE / "reduction" / "gm" / "reasons.py").read_text(encoding="utf-8")
    given |= set(re.findall(r'(?:return|else) "([a-z_]+)"', between)) - {"fine"}
    assert {"people", "taut", "no_record", "outlier", "zero"} <= given
    assert given <= documented


def code_words(row: str) -> list[str]:
    return re.findall(r"`([a-z_]+)`", row)
