"""The demo: a whole test day of an invented vessel, from sensor bytes to the report, held against its truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from config.folder import TestFolder
from config.units import TONNE
from logger.live import Notice, Now
from quietheel.jobs.playing import play_day
from quietheel.jobs.reduce import reduce_folder
from quietheel.jobs.report import Written, report
from quietheel.jobs.simulate import prepare
from reduction.report.text import render_text
from reduction.types import Answer, Quantified
from sim.truth import Truth

SCENARIO = "merrowby"


@dataclass(frozen=True)
class Demo:
    """What the demo came to."""

    text: str
    """The screen a coordinator reads out."""
    against_truth: str
    """Results beside what the simulator knows to be true."""
    answer: Answer
    truth: Truth
    report: Written


def demo(
    folder: Path | str,
    *,
    seed: int | None = None,
    seconds: float = 30.0,
    tell: Callable[[str], None] = lambda text: None,
    show: Callable[[Now, float], None] = lambda now, share: None,
    marked: Callable[[str], None] = lambda text: None,
    say: Callable[[Notice], None] = lambda notice: None,
) -> Demo:
    """Play the day through real sockets into ``folder``, reduce it, write the report.

    Parameters
    ----------
    seconds : wall time for the recorded part; the clock runs as fast as that takes.
    tell, show, marked, say : called with what is going on.

    Raises
    ------
    BadInput where the folder holds a record already.
    """
    place = TestFolder(Path(folder))
    day = prepare(SCENARIO, place, seed, tell)
    length = (day.end_ns - day.epoch_ns) * 1e-9
    tell(f"recording {length / 3600:.1f} h of test day in {seconds:.0f} s: real serial lines, broker, logger, marks")
    play_day(day, place, speed=length / seconds, show=show, marked=marked, say=say)
    tell("reducing the day")
    reduced = reduce_folder(place.path)
    tell("writing the report")
    written = report(place.path, reduced=reduced)
    return Demo(
        render_text(reduced.answer, reduced.plan, events=reduced.recorded.events),
        against_truth(reduced.answer, day.truth),
        reduced.answer,
        day.truth,
        written,
    )


def against_truth(answer: Answer, truth: Truth) -> str:
    """Hold an answer against what the simulator knows, one line a result."""
    lines = ["Against the truth of the simulator (which a real day does not tell):"]
    if answer.gm.value is not None:
        lines.append(_line("GM", answer.gm.value.gm, truth.gm_m, "m", 1.0, answer.confidence))
    if answer.as_inclined.value is not None:
        inclined = answer.as_inclined.value
        lines.append(_line("displacement", inclined.displacement, truth.displacement_t, "t", TONNE, answer.confidence))
        lines.append(_line("KG", inclined.kg, truth.kg_m, "m", 1.0, answer.confidence))
    if answer.lightship.value is not None and truth.lightship:
        light = answer.lightship.value
        for name, found, key, unit, scale in (
            ("lightship mass", light.mass, "mass_t", "t", TONNE),
            ("lightship VCG", light.vcg, "vcg_m", "m", 1.0),
            ("lightship LCG", light.lcg, "lcg_m", "m", 1.0),
            ("lightship TCG", light.tcg, "tcg_m", "m", 1.0),
        ):
            lines.append(_line(name, found, truth.lightship[key], unit, scale, answer.confidence))
    points = {p.label: p for p in answer.gm.value.points} if answer.gm.value else {}
    for window in truth.windows:
        point = points.get(window.label)
        if window.spoilt and point is not None:
            verdict = f"{point.verdict} ({', '.join(point.reasons)})" if point.reasons else point.verdict
            lines.append(f"  window {window.label} was spoilt ({', '.join(window.spoilt)}): {verdict}")
    clean = [
        w.label for w in truth.windows if not w.spoilt and w.label in points and points[w.label].verdict == "rejected"
    ]
    lines.append(f"  clean windows rejected: {', '.join(clean) or 'none'}")
    return "\n".join(lines)


def _line(name: str, found: Quantified, true: float, unit: str, scale: float, confidence: float) -> str:
    value, half = found.value / scale, found.u95(confidence) / scale
    inside = "inside" if abs(value - true) <= half else "OUTSIDE"
    return f"  {name:<15} {value:10.4f} ± {half:.4f} {unit}   true {true:10.4f} {unit}   {inside} the interval"
