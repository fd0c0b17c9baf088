"""Print a document as one HTML file: nothing to fetch, no script, readable on a phone in the sun and on paper."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from config.plan import Plan
from config.tables import Tables
from reduction.report.compose import report
from reduction.report.document import Document
from reduction.report.extras import need
from reduction.report.figures.canvas import for_html
from reduction.report.traces import Traces
from reduction.report.words import Form
from reduction.types import Answer

if TYPE_CHECKING:
    from logger.events import Event


def render_html(
    answer: Answer,
    traces: Traces,
    plan: Plan | None = None,
    *,
    form: Form = "preliminary",
    events: Sequence[Event] = (),
    tables: Tables | None = None,
) -> str:
    """Compose and print the report as HTML; see `report` for the arguments."""
    return print_html(report(answer, traces, plan, form=form, events=events, tables=tables))


def print_html(document: Document) -> str:
    """Print a document as HTML.

    Every text is escaped; figures are drawn by us and go in as they are. The page carries a content security policy
    that allows no script and no request.
    """
    markup: Any = need("markupsafe")
    pictures = {
        name: {"wide": markup.Markup(for_html(p.wide)), "narrow": markup.Markup(for_html(p.narrow or p.wide))}
        for name, p in document.pictures.items()
    }
    css = markup.Markup(template_text("document.css"))
    return str(environment().get_template("document.html.jinja").render(d=document, pictures=pictures, css=css))


def template_text(name: str) -> str:
    """Read a packaged template."""
    return (files("reduction.report") / "templates" / name).read_text(encoding="utf-8")


@cache
def environment() -> Any:
    """Templates with every text escaped."""
    jinja2: Any = need("jinja2")
    return jinja2.Environment(
        loader=jinja2.FunctionLoader(template_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
