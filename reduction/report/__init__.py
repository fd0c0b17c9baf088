"""Everything printed: the report in HTML, PDF and words, the brief for the vessel's master, forms, a data summary."""

from reduction.report.compose import report
from reduction.report.data_summary import data_summary
from reduction.report.extras import ReportExtraMissing
from reduction.report.html import print_html, render_html
from reduction.report.pdf import Paper, print_pdf, render_pdf
from reduction.report.text import render_text
from reduction.report.traces import Traces, plot_traces

__all__ = [
    "Paper",
    "ReportExtraMissing",
    "Traces",
    "data_summary",
    "plot_traces",
    "print_html",
    "print_pdf",
    "render_html",
    "render_pdf",
    "render_text",
    "report",
]
