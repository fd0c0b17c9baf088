"""What an authority's list of report contents asks for, and where each point stands in this report."""

from __future__ import annotations

from config.plan import Plan
from reduction.report.document import Cell, Column, Mark, Section, Table
from reduction.report.traces import Traces
from reduction.types import Answer

SOURCE = "IMO guide to the stability manual, lightship particulars"
PRACTICE = "common practice"


def contents_section(answer: Answer, traces: Traces, plan: Plan) -> Section:
    """Table of points asked for, whether this report has them, and where."""
    occasion, light = plan.test, answer.lightship.value is not None
    water = answer.waterline.value is not None
    certificates = bool(plan.weights) and all(w.certificate for w in plan.weights)
    soundings = bool(plan.tanks) and all(t.sounding_m is not None or t.state != "slack" for t in plan.tanks)
    rows = (
        _row("lightship mass, LCG, VCG, TCG", light, "From as inclined to lightship", SOURCE),
        _row("place and date", bool(occasion.place and occasion.date), "First page", SOURCE),
        _row("body approving the result", bool(occasion.approving_body), "First page", SOURCE),
        _row("reference planes of each coordinate", True, "Reference planes, inputs, version", SOURCE),
        _row("permanent ballast: material, mass, place, sketch", False, "attach; not kept in the test folder", SOURCE),
        _row("roll period, where asked for", answer.day is not None, "How she floated; Annex C", SOURCE),
        _row("people and their stations", bool(plan.people), "People, lines, instruments", PRACTICE),
        _row("weather log", traces.wind is not None, "The day, and its windows", PRACTICE),
        _row("depth of water soundings", False, "attach; not kept in the test folder", PRACTICE),
        _row("density samples", water, "How she floated", PRACTICE),
        _row("tank soundings with free-surface moments", soundings, "Tanks and free surface", PRACTICE),
        _row("moment-tangent plot with residuals", answer.gm.value is not None, "Moment and heel", PRACTICE),
        _row("raw traces", bool(traces.heel), "The day, and its windows; Annex B", PRACTICE),
        _row("certificates of the weights", certificates, "Weights and movements; attach copies", PRACTICE),
        _row("lists of items on, off, moved", bool(answer.survey), "From as inclined to lightship", PRACTICE),
        _row("verification of the draught marks", False, "attach; not kept in the test folder", PRACTICE),
        _row("signatures of witness and person in charge", False, "Signatures: by hand", PRACTICE),
    )
    columns = (Column("asked for", weight=1), Column("here"), Column("where", weight=1), Column("who asks", weight=1))
    return Section("contents-list", "What is asked for, and where it is", (Table("Contents", columns, rows),))


def _row(what: str, here: bool, where: str, source: str) -> tuple[Cell, ...]:
    attached = where.startswith("attach") or where.endswith("by hand")
    mark = (
        Mark("here", "fine") if here else Mark("to add" if attached else "missing", "open" if attached else "caution")
    )
    return (what, mark, where, source)
