"""Print the brief for the vessel's master and the forms of the survey and the day."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from config.folder import TestFolder
from reduction.report.brief import brief_html, brief_pdf
from reduction.report.forms import pendulum_form, roll_call, survey_form
from reduction.report.html import print_html
from reduction.report.pdf import print_pdf
from reduction.report.survey_page import survey_html


def brief(folder: Path | str = ".", *, paper: Literal["a4", "letter"] = "a4") -> tuple[Path, Path]:
    """Write ``brief.html`` and ``brief.pdf`` beside the plan; returns both paths."""
    place = TestFolder(Path(folder))
    plan = place.plan()
    page, pdf = place.path / "brief.html", place.path / "brief.pdf"
    page.write_text(brief_html(plan), encoding="utf-8", newline="\n")
    pdf.write_bytes(brief_pdf(plan, paper=paper))
    return page, pdf


def forms(folder: Path | str = ".", *, paper: Literal["a4", "letter"] = "a4") -> tuple[Path, ...]:
    """Write the forms of the day under ``forms/``; returns their paths.

    ``survey.html`` is filled in on a tablet without any network and gives survey.csv; the others are to print: the
    deadweight survey by space, the pendulum readings, the roll call.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    target = place.path / "forms"
    target.mkdir(exist_ok=True)
    written = [target / "survey.html"]
    written[0].write_text(survey_html(plan), encoding="utf-8", newline="\n")
    for name, document in (
        ("survey", survey_form(plan)),
        ("pendulum", pendulum_form(plan)),
        ("roll-call", roll_call(plan)),
    ):
        pdf = target / f"{name}.pdf"
        pdf.write_bytes(print_pdf(document, paper=paper))
        written.append(pdf)
        if name != "survey":
            page = target / f"{name}.html"
            page.write_text(print_html(document), encoding="utf-8", newline="\n")
            written.append(page)
    return tuple(written)
