"""The deadweight survey as it grows: read forms back in, totals, spaces not yet seen."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from config.csvtext import read_spreadsheet_text, remarks
from config.errors import bad
from config.folder import TestFolder
from config.survey_table import SurveyRow, read_survey, survey_text
from config.tables import read_tables
from config.units import TONNE
from logger.archive.durable import write_whole
from reduction.lightship.survey import MISSING_LIMIT, SURPLUS_LIMIT, Totals, gather, outsized, totals
from reduction.planning.plausible import check_masses
from reduction.water.tanks import liquids


@dataclass(frozen=True)
class SurveyState:
    """Where the survey stands."""

    rows: tuple[SurveyRow, ...]
    totals: Totals
    """kg."""
    lightship_t: float | None
    """Estimated or previous lightship that the totals are held against; None where the plan has none."""
    by_space: dict[str, int]
    """Lines by space."""
    not_surveyed: tuple[str, ...]
    unconfirmed: tuple[str, ...]
    notes: tuple[str, ...]
    heavy: tuple[str, ...] = ()
    """Lines that each weigh more than all surplus may, in words: kilograms for tonnes?"""
    seen_since: tuple[str, ...] = ()
    """Spaces noted as not surveyed of which there are other lines."""

    def shares(self) -> tuple[tuple[str, float, float], ...]:
        """(what, share of lightship, limit by IACS Recommendation 31) for missing and surplus weights."""
        if not self.lightship_t:
            return ()
        mass = self.lightship_t * TONNE
        return (
            ("missing (to go on)", self.totals.on / mass, MISSING_LIMIT),
            ("surplus (to come off, liquid ballast apart)", self.totals.off / mass, SURPLUS_LIMIT),
        )


def survey(folder: Path | str = ".") -> SurveyState:
    """Say where the survey of a folder stands.

    Raises
    ------
    BadInput with every fault of survey.csv, or that there is none.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    tables = read_tables(place, plan)
    if tables.survey is None:
        there = "no line filled in" if (place.path / "survey.csv").is_file() else "no such file"
        wanted = "the survey, one item a line; `quietheel survey forms` writes a form that gives one"
        raise bad("survey.csv", "whole file", there, wanted)
    found = gather(plan, tables.survey, liquids(plan.tanks, tables))
    before = plan.vessel.lightship
    others = {row.space for row in tables.survey if row.action != "not surveyed" and row.space}
    return SurveyState(
        tables.survey,
        totals(found.items),
        plan.vessel.lightship.mass_t if plan.vessel.lightship else None,
        dict(Counter(row.space or "no space named" for row in tables.survey)),
        found.not_surveyed,
        found.unconfirmed,
        found.assumptions,
        outsized(found.items, before.mass_t * TONNE if before else 0.0),
        tuple(space for space in found.not_surveyed if space in others),
    )


def import_survey(folder: Path | str, form: Path | str) -> tuple[int, int]:
    """Add the lines of a filled-in form to survey.csv; returns (added, already there).

    A line that is there already, with the same item, space and action, is kept as it stands in survey.csv unless the
    form's differs in its figures: then both stand and the folder's owner decides. Remarks stay, above the heading.

    Raises
    ------
    BadInput with every fault of either file, a line heavier than the vessel among them; nothing is written then.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    target = place.path / "survey.csv"
    there = read_survey(target) if target.is_file() else ()
    coming = read_survey(Path(form))
    if not coming:
        raise bad(Path(form).name, "whole file", "no line filled in", "one item or space a line")
    check_masses(coming, plan, Path(form).name)
    known = {_figures(row) for row in there}
    new = [row for row in coming if _figures(row) not in known]
    if new:
        kept = remarks(read_spreadsheet_text(target, target.name)) if target.is_file() else []
        text = "".join(f"{line}\n" for line in kept) + survey_text([*there, *new], blank=True)
        write_whole(target, text.encode("utf-8"))
    return len(new), len(coming) - len(new)


def other_masses(folder: Path | str, form: Path | str) -> tuple[str, ...]:
    """Lines of a form whose item and space stand in survey.csv with another mass only, in words.

    To be asked before `import_survey`, which lets both stand.
    """
    target = TestFolder(Path(folder)).path / "survey.csv"
    there = read_survey(target) if target.is_file() else ()
    said = []
    for row in read_survey(Path(form)):
        alike = [old for old in there if (old.item, old.space, old.action) == (row.item, row.space, row.action)]
        if alike and not any(old.mass_t == row.mass_t or math.isnan(row.mass_t) for old in alike):
            known = ", ".join(f"{old.mass_t:g} t on line {old.line}" for old in alike)
            said.append(f"{row.item}, {row.space or 'no space named'}: {row.mass_t:g} t, {known} of survey.csv")
    return tuple(said)


def _figures(row: SurveyRow) -> tuple[object, ...]:
    mass = None if row.mass_t != row.mass_t else row.mass_t
    position = tuple(None if value != value else value for value in row.position_m)
    return row.item, row.space, row.action, mass, position, row.to_m
