"""Did the mean heel step, as when a person walks across and stays, or walks there and back?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dsp.checks.budget import CAUTION, REJECT
from dsp.checks.look import Look, graded
from dsp.checks.scan import Scan, scan_chance, scan_limit
from dsp.checks.transient import opening_of
from dsp.types import Array, Check

WALK = 6.0
"""s that a walk across the deck takes: 5 m at a little under a metre a second. Every one of `STAYS` is a multiple."""
STEP_SHARE = 0.75
"""Share of the false alarms given to a walk without return."""
STAYS = (12.0, 24.0, 48.0)
"""s between going and coming back."""
LIKELIER = 2.0
"""Square of a score by which a step in the window must be ahead of what came before it: a likelihood larger by a factor
e."""
SETTLES = 0.1
"""Share of the swing of a window opened early by which its level may move as the swing dies (judgement; two outsiders'
moored vessels did so by 0.05 to 0.1)."""
SETTLING = (20.0, 40.0, 80.0)
"""s in which a level is reached (moorings that give, a hull that comes to rest) but for a third."""


@dataclass(frozen=True)
class Walks:
    """Templates of one kind of walk, by when it begins."""

    stay: float
    """s between going and coming back; infinite if nobody comes back."""
    start: Array
    """(m,) s since opening."""
    template: Array
    """(m, n) share of the way walked."""
    white: Array
    """(m, n) the same, whitened."""

    def only(self, part: slice) -> Walks:
        """Some of them."""
        return Walks(self.stay, self.start[part], self.template[part], self.white[part])


def check(look: Look) -> Check:
    """Matched step and there-and-back; a caution only where it is no more than a dying swing may leave."""
    answer = _asked(look)
    return _beside_swing(look, answer) if answer.verdict == "rejected" else answer


def _beside_swing(look: Look, answer: Check) -> Check:
    """Weigh what moved against the swing of a window that was opened early.

    No swing dies by quite the day's law, and she drifts to rest on her lines as it dies: what is smaller than `SETTLES`
    of what had still to die may be that as well as people. It is a caution, and no hint beside what other windows say.
    """
    opening = opening_of(look)
    if opening is None or not opening.early:
        return answer
    size, when = float(answer.evidence["size"][0]), float(answer.evidence["when"][0])
    swing = opening.amplitude(when)
    if abs(size) > SETTLES * swing:
        return answer
    says = f"{answer.says} The swing she was opened with, {np.rad2deg(swing):.3f} deg by then, may leave as much."
    return replace(answer, verdict="caution", says=says, evidence={**answer.evidence, "chance": np.ones(1)})


def _asked(look: Look) -> Check:
    """Matched step and there-and-back against the covariance of the motion, maximised over their times.

    Of a step soon after opening the window itself shows little of the level before; the record that leads up to it
    does. But people who walk to their stations before it opens, and a level that is still being reached, must not be
    held against it: a step in it has to explain the record better than either, or only what the window shows by itself
    counts.
    """
    led = look.led
    if led is None:
        return _alone(look)
    families, before = _families(led), _before(led)
    rivals = [before.white, led.whitened(_settling(led))]
    scans, (steps, settling) = led.scan_apart([f.white for f in families], rivals)
    now, earlier = (float(np.abs(scan.score).max()) for scan in (scans[0], steps))
    if now**2 > max(earlier, float(np.abs(settling.score).max())) ** 2 + LIKELIER:
        return _answer(led, families, scans)
    answer = _alone(look)
    if answer.verdict == "fine" and earlier > answer.threshold:
        at = int(np.argmax(np.abs(steps.score)))
        moved = np.rad2deg(steps.amplitude[at])
        told = f"It had stepped by {moved:+.4f} deg {-before.start[at]:.0f} s before the window opened."
        return replace(answer, says=f"{answer.says} {told}")
    return answer


def _alone(look: Look) -> Check:
    families = _families(look)
    return _answer(look, families, look.scan_apart([f.white for f in families])[0])


def _answer(look: Look, families: list[Walks], scans: list[Scan]) -> Check:
    """Judge the largest score of all families by its limit."""
    # A walk that stays moves the mean most and is given most of the budget.
    dofs = [look.free_dof(f.template[f.start.size // 2]) for f in families]
    limits = np.array([_limit(scans, place, dofs[place], REJECT["people"]) for place in range(len(scans))])
    largest = np.array([np.abs(s.score).max() for s in scans])
    best = int(np.argmax(largest / limits))
    limit = float(limits[best])
    caution = _limit(scans, best, dofs[best], REJECT["people"] + CAUTION["people"])
    at = int(np.argmax(np.abs(scans[best].score)))
    value, size = float(abs(scans[best].score[at])), float(scans[best].amplitude[at])
    when, stay = float(families[best].start[at]), families[best].stay
    verdict = graded(value, limit, caution)
    shape = "steps" if stay == float("inf") else f"moves and comes back after {stay:.0f} s,"
    says = (
        f"The mean heel {shape} by {np.rad2deg(size):+.4f} deg at {when:.0f} s, {value:.1f} times the uncertainty "
        f"(limit {limit:.1f})"
        + ("; somebody or something moved." if verdict != "fine" else "; no more than chance makes.")
    )
    step = size * families[best].template[at]
    evidence = {
        "time": look.evidence.time,
        "low": look.evidence.low,
        "step": step + float(np.mean(look.evidence.low - step)),
        "step_time": look.evidence.span.start + families[0].start,
        "score": scans[0].score,
        "chance": np.array([_chance(scans, best, dofs[best], value)]),
        "size": np.array([size]),
        "when": np.array([look.evidence.span.start + when]),
    }
    return Check("people", value, limit, "standard uncertainties", REJECT["people"], verdict, says, evidence)


def _limit(scans: list[Scan], place: int, dof: float, false_alarm: float) -> float:
    """Limit of one family: steps share `STEP_SHARE` of the false alarms, there-and-back the rest."""
    family, share = _shared(scans, place)
    return scan_limit(family, share * false_alarm, dof)


def _chance(scans: list[Scan], place: int, dof: float, score: float) -> float:
    """Probability that a clean window comes as far, in any family."""
    family, share = _shared(scans, place)
    return min(scan_chance(family, score, dof) / share, 1.0)


def _shared(scans: list[Scan], place: int) -> tuple[list[Scan], float]:
    """Return the scans that share false alarms with one of them, and how large a share theirs is."""
    if len(scans) == 1:
        return scans, 1.0
    return (scans[:1], STEP_SHARE) if place == 0 else (scans[1:], 1.0 - STEP_SHARE)


def _families(look: Look) -> list[Walks]:
    """Lay out the walks that a window may hold: those without return first.

    Who walks there and back steps twice, so that the difference of two steps is his template, whitened or not.
    """
    length, spacing = look.length, _spacing(look)
    # Nearer to an edge than half a roll period a step and a swing look alike, and it moves the mean by little.
    half_roll = 0.5 * look.period if np.isfinite(look.period) else 0.0
    edge = min(max(4.0, half_roll), 0.1 * length)
    stays = [s for s in STAYS if s + 2 * WALK < 0.7 * length]
    first, last = edge - WALK / 2, length - edge - WALK / 2
    # On to where he who goes last is back.
    start = first + spacing * np.arange(
        max(np.ceil((last - first) / spacing), 1.0) + (WALK / spacing if stays else 0.0)
    )
    steps = _laid(look, start)
    families = [steps.only(slice(0, max(np.count_nonzero(start < last), 1)))]
    for stay in stays:
        back = round((WALK + stay) / spacing)
        goes = np.flatnonzero(start < last - stay)
        template, white = (one[goes] - one[goes + back] for one in (steps.template, steps.white))
        families.append(Walks(stay, start[goes], template, white))
    return families


def _before(led: Look) -> Walks:
    """Walks that are over when the window opens, from the beginning of the record that leads up to it."""
    start = np.arange(-WALK, float(led.seconds[0]), -_spacing(led))
    return _laid(led, start if start.size else np.array([-WALK]))


def _settling(led: Look) -> Array:
    """(3, m) level that is reached little by little from the beginning of the record that leads up to the window."""
    since = led.seconds - led.seconds[0]
    return np.asarray(np.exp(-since / np.array(SETTLING)[:, None]))


def _spacing(look: Look) -> float:
    """s between the starts of walks that are tried: goes into a walk without rest, and so into every stay."""
    wanted = max(look.evidence.step, 1.5, look.length / 80.0)
    return WALK / float(np.ceil(WALK / min(wanted, WALK)))


def _laid(look: Look, start: Array) -> Walks:
    """Walks without return that begin at each of ``start`` (m,), s since opening."""
    template = np.clip((look.seconds[None, :] - start[:, None]) / WALK, 0.0, 1.0)
    return Walks(float("inf"), start, template, look.whitened(template))
