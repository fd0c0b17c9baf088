"""The deadweight survey as one HTML page to fill in on a tablet: works without a network, gives back ``survey.csv``."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from typing import Any

from config.plan import Plan
from config.survey_table import COLUMNS
from reduction.report.extras import need
from reduction.report.forms import ABANDON, USUAL_SPACES
from reduction.report.html import environment, template_text

LABELS = {
    "item": "item",
    "action": "what happens to it",
    "mass_t": "mass, t",
    "mass_u95_t": "give or take, t",
    "x_m": "x, m forward of aft perpendicular",
    "y_m": "y, m to starboard (port is minus)",
    "z_m": "z, m above baseline",
    "position_u95_m": "place, give or take, m",
    "to_x_m": "moved to x, m",
    "to_y_m": "moved to y, m",
    "to_z_m": "moved to z, m",
    "ballast": "liquid ballast",
    "free_surface_tm": "free surface, t m",
    "surveyed_by": "seen by",
    "confirmed": "confirmed by a second person",
    "note": "note",
}
"""What stands over each box; a column of the table that is not here keeps its own name."""
ACTIONS = {"off": "comes off", "on": "goes on", "move": "is moved"}
MASSES = frozenset({"mass_t", "mass_u95_t"})
"""Typed in tonnes, as on paper and in survey.csv; said in kilograms beside the box."""
NEEDED = frozenset({"item", "mass_t", "x_m", "y_m", "z_m", "to_x_m", "to_y_m", "to_z_m"})


def survey_html(plan: Plan, spaces: Sequence[str] = ()) -> str:
    """Print the survey page.

    Parameters
    ----------
    plan : names the vessel.
    spaces : in the order of the walk; empty takes the usual ones, and more can be added on the tablet.

    Returns
    -------
    HTML with one script of our own, allowed by its digest; nothing else runs and nothing is fetched.
    """
    markup: Any = need("markupsafe")
    script = template_text("survey_form.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    name = plan.vessel.name if plan.vessel.name != "unnamed" else plan.test.name
    form = {
        "key": f"{name} {plan.test.date or ''}".strip(),
        "spaces": list(spaces or USUAL_SPACES),
        "columns": [_column(column.name, column.kind) for column in COLUMNS],
    }
    page = environment().get_template("survey_form.html.jinja")
    return str(
        page.render(
            name=name,
            date=plan.test.date,
            caution=ABANDON,
            data=json.dumps(form, ensure_ascii=False),
            css=markup.Markup(template_text("document.css") + template_text("survey_form.css")),
            script=markup.Markup(script),
            digest=digest,
        )
    )


def _column(name: str, kind: str) -> dict[str, object]:
    choices: dict[str, str] = {}
    if name == "action":
        choices = ACTIONS
    elif kind == "yes_no":
        choices = {"no": "no", "yes": "yes"}
    return {
        "name": name,
        "label": LABELS.get(name, name),
        "kind": kind,
        "needed": name in NEEDED,
        "only_move": name.startswith("to_"),
        "mass": name in MASSES,
        "choices": [{"value": value, "label": label} for value, label in choices.items()],
    }
