"""The common look of every figure, and how a drawing becomes SVG that is the same bytes each time.

A figure is drawn once for a page and once for a phone. Colours are written as fixed values; in HTML they become the
page's own variables, so that a figure follows light and dark. Text stays text: it can be read aloud, searched, copied.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from reduction.report.document import Picture
from reduction.report.extras import need
from reduction.report.words import Tone

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, RULE, SHADE, PAPER = "#17242c", "#55646e", "#c6d0d6", "#e4edf1", "#fefefe"
ACCENT, ALARM, AMBER, PLUM = "#0a5c7d", "#b4380c", "#8a6410", "#6d4a94"
ALARM_SHADE, AMBER_SHADE = "#f6e0d7", "#f3ead3"
VARIABLES = {
    INK: "ink",
    SOFT: "soft",
    RULE: "rule",
    SHADE: "shade",
    PAPER: "paper",
    ACCENT: "accent",
    ALARM: "alarm",
    AMBER: "amber",
    PLUM: "plum",
    ALARM_SHADE: "alarm-shade",
    AMBER_SHADE: "amber-shade",
}
"""Every colour a figure may use, with the name of the page's variable that stands for it."""
STATION_COLOURS = (ACCENT, AMBER, PLUM, INK, ALARM)
STATION_DASHES = ("-", "--", "-.", ":", (0, (1, 1)))
"""Stations drawn over one another differ by dashes as well as by colour."""
TONE_COLOUR: dict[Tone, str] = {"fine": ACCENT, "caution": AMBER, "rejected": ALARM, "open": SOFT}
TONE_SHADE: dict[Tone, str] = {"fine": SHADE, "caution": AMBER_SHADE, "rejected": ALARM_SHADE, "open": SHADE}
TONE_MARKER: dict[Tone, str] = {"fine": "o", "caution": "^", "rejected": "x", "open": "s"}


@dataclass(frozen=True)
class Look:
    """For which surface a figure is being drawn."""

    narrow: bool
    """True for a phone."""

    @property
    def font(self) -> float:
        """pt, of the smallest text."""
        return 8.6 if self.narrow else 7.6


TALLEST = 8.2
"""in. A taller figure would not fit a Letter page under its caption."""
Draw = Callable[["Figure", Look], None]


def picture(name: str, draw: Draw, wide: tuple[float, float], narrow: tuple[float, float] | None = None) -> Picture:
    """Draw a figure for a page, and for a phone where ``narrow`` is given.

    Parameters
    ----------
    name : unique in the document; goes into the identifiers inside the SVG.
    draw : draws on an empty figure.
    wide, narrow : (width, height), inches.
    """
    wide = (wide[0], min(wide[1], TALLEST))
    return Picture(
        wide=_svg(f"{name}-wide", draw, wide, Look(narrow=False)),
        narrow=_svg(f"{name}-narrow", draw, narrow, Look(narrow=True)) if narrow else "",
    )


def bare(axes: Axes, *, x: str = "", y: str = "") -> None:
    """Take off what carries no information: top and right frame, heavy ticks; name the axes."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.set_xlabel(x)
    axes.set_ylabel(y)


def short(text: str, most: int = 22) -> str:
    """Shorten a name so that it cannot push a drawing off its paper.

    >>> short("forward"), short("departure with full deck cargo and ice", 12)
    ('forward', 'departure w…')
    """
    text = " ".join(text.split())
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def for_html(svg: str) -> str:
    """Let the page's variables colour the figure and the page's typeface set its text."""
    for colour, name in VARIABLES.items():
        svg = svg.replace(colour, f"var(--{name})")
    svg = _TYPEFACE.sub(lambda found: f"{found[1]}var(--sans)", svg)
    return re.sub(r' xmlns(:\w+)?="[^"]*"', "", svg)


def for_print(svg: str, family: str, enlarge: float = 1.14) -> str:
    """Set the figure's text in the report's typeface, a little larger since that face is drawn small."""

    svg = _TYPEFACE.sub(lambda found: f"{found[1]}'{family}'", svg)
    return _SIZE.sub(lambda found: f"{found[1]}{float(found[2]) * enlarge:.2f}px", svg)


_TYPEFACE = re.compile(r"""(font-family: |font: (?:\w+ )*[\d.]+px )'DejaVu Sans'[^;"]*""")
_SIZE = re.compile(r"(font-size: |font: (?:\w+ )*)([\d.]+)px")


def _svg(name: str, draw: Draw, size: tuple[float, float], look: Look) -> str:
    matplotlib: Any = need("matplotlib")
    figure_module: Any = need("matplotlib.figure")
    with matplotlib.rc_context(_settings(name, look.font)):
        figure = figure_module.Figure(figsize=size, layout="constrained")
        draw(figure, look)
        buffer = io.StringIO()
        no_metadata = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(buffer, format="svg", transparent=True, metadata=no_metadata)
    svg = re.sub(r"^.*?(?=<svg )", "", buffer.getvalue(), flags=re.DOTALL)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r"""(<svg [^>]*?)width="[\d.]+pt" """, r"\1", svg)
    svg = re.sub(r"""(<svg [^>]*?)height="[\d.]+pt" """, r"\1", svg)
    used = set(re.findall(r"#([\w-]+)", svg))
    svg = re.sub(r' id="([^"]+)"', lambda found: found[0] if found[1] in used else "", svg)
    svg = re.sub(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", "", svg)  # not allowed, or turns text round
    # A hundredth of a point is finer than any printer; only inside tags, since text holds figures that matter.
    svg = re.sub(r"<[^>]*>", lambda found: re.sub(r"(\d\.\d\d)\d+", r"\1", found[0]), svg)
    return re.sub(r"\n\s*", "\n", svg).strip()


def _settings(salt: str, font: float) -> dict[str, object]:
    return {
        "svg.hashsalt": f"quietheel {salt}",
        "svg.fonttype": "none",
        "font.family": "DejaVu Sans",
        "font.size": font,
        "axes.labelsize": font,
        "axes.titlesize": font + 0.6,
        "axes.titlelocation": "left",
        "axes.titleweight": "bold",
        "xtick.labelsize": font,
        "ytick.labelsize": font,
        "legend.fontsize": font,
        "legend.frameon": False,
        "axes.edgecolor": SOFT,
        "axes.labelcolor": INK,
        "axes.titlecolor": INK,
        "text.color": INK,
        "xtick.color": SOFT,
        "ytick.color": SOFT,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "axes.linewidth": 0.6,
        "xtick.major.width": 0.6,
        "ytick.major.width": 0.6,
        "xtick.major.size": 3.0,
        "ytick.major.size": 3.0,
        "grid.color": RULE,
        "grid.linewidth": 0.5,
        "lines.linewidth": 1.1,
        "lines.markeredgewidth": 1.5,
        "axes.unicode_minus": True,
        "axes.axisbelow": True,
        "axes.formatter.useoffset": False,
        "path.simplify": True,
        "text.parse_math": False,  # a dollar sign in a name is a dollar sign
        "path.simplify_threshold": 0.3,
    }
