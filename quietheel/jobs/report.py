"""Write the report of a reduced day."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from config.tables import read_tables
from quietheel.jobs.reduce import ReducedDay, reduce_folder, write_result
from reduction.report.compose import report as compose
from reduction.report.data_summary import data_summary
from reduction.report.html import print_html
from reduction.report.pdf import print_pdf
from reduction.report.traces import plot_traces


@dataclass(frozen=True)
class Written:
    """Files of a report."""

    reduction: Path
    html: Path
    pdf: Path
    data_summary: Path


def report(
    folder: Path | str = ".",
    *,
    form: Literal["preliminary", "final"] = "preliminary",
    paper: Literal["a4", "letter"] = "a4",
    reduced: ReducedDay | None = None,
    name: str = "report",
) -> Written:
    """Reduce a folder and write ``results/reduction.json``, the report as HTML and PDF, and the data summary.

    Parameters
    ----------
    form : ``preliminary`` for the same day, ``final`` days later. Both stay preliminary until the authority accepts.
    paper : of the PDF.
    reduced : a day already reduced; None reduces the folder.
    name : of the files.

    Example
    -------
    >>> import quietheel
    >>> quietheel.report("demo-day").pdf  # doctest: +SKIP
    """
    day = reduced or reduce_folder(folder)
    place = day.recorded.folder
    reduction, _ = write_result(place, day.as_json())
    traces = plot_traces(day.recorded.day)
    html, pdf = place.results / f"{name}.html", place.results / f"{name}.pdf"
    document = compose(
        day.answer, traces, day.plan, form=form, events=day.recorded.events, tables=read_tables(place, day.plan)
    )
    html.write_text(print_html(document), encoding="utf-8", newline="\n")
    pdf.write_bytes(print_pdf(document, paper=paper))
    summary = data_summary(day.answer, day.plan, day.recorded.events)
    summary_pdf = place.results / "data-summary.pdf"
    summary_pdf.write_bytes(print_pdf(summary, paper=paper))
    (place.results / "data-summary.html").write_text(print_html(summary), encoding="utf-8", newline="\n")
    return Written(reduction, html, pdf, summary_pdf)
