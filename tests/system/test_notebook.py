"""The example notebook runs from top to bottom."""

import warnings
from pathlib import Path

import nbformat
import pytest

NOTEBOOK = Path(__file__).parents[2] / "docs" / "a-day-in-a-notebook.ipynb"


@pytest.mark.filterwarnings("ignore")  # of the notebook's own machinery; quietheel's are seen in its other tests
def test_the_example_notebook_shows_the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    from nbclient import NotebookClient

    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parents[2]))
    monkeypatch.setenv("PYDEVD_DISABLE_FILE_VALIDATION", "1")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        notebook = nbformat.read(NOTEBOOK, as_version=4)
        done = NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    printed = "\n".join(o.get("text", "") for c in done.cells for o in c.get("outputs", []))
    assert "GM 1.0" in printed
    assert "rejected taut" in printed
