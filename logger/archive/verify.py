"""Check a test folder: digests, chain of marks, gaps to the millisecond, losses, torn tails, missing stop records."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from config.errors import BadInput
from config.files import digest
from config.folder import TestFolder
from logger.archive.beat import nominal_period
from logger.archive.layout import JOURNAL_NAME, SEGMENT_NAME, RunInfo, list_runs, numbered
from logger.archive.pieces import Piece, open_journal, opens, pieces_of
from logger.archive.reader import read_arrivals
from logger.archive.timing import repaired
from logger.chain import read_lines
from logger.events import EventLog, rfc3339
from logger.records import Flag, Quantity

Severity = Literal["damage", "loss", "remark"]
GAP_S = 2.0
"""A silence longer than this, and than ten beats of the station, is a gap."""


@dataclass(frozen=True)
class Finding:
    """One thing that is not as it should be."""

    severity: Severity
    """``damage``: what is there is not what was written; ``loss``: readings are missing; ``remark``: worth knowing."""
    where: str
    """Run and file or channel."""
    says: str


@dataclass(frozen=True)
class Gap:
    """A stretch without readings of one channel."""

    run: str
    station: str
    quantity: Quantity
    from_ns: int
    """Last reading before, UTC ns."""
    to_ns: int
    """First reading after, UTC ns."""

    @property
    def seconds(self) -> float:
        """Length, s."""
        return (self.to_ns - self.from_ns) / 1e9


@dataclass(frozen=True)
class ChannelCount:
    """What is there of one channel of one run."""

    run: str
    station: str
    quantity: Quantity
    rows: int
    lost: int
    """Running numbers missing: readings that the logger had and could not store."""
    duplicates: int
    """Marked as duplicates."""
    first_ns: int
    last_ns: int


@dataclass(frozen=True)
class VerifyReport:
    """What was found."""

    runs: tuple[RunInfo, ...]
    channels: tuple[ChannelCount, ...]
    gaps: tuple[Gap, ...]
    findings: tuple[Finding, ...]
    events: int
    """Lines of events.jsonl."""
    events_digest: str = ""
    """SHA-256 of events.jsonl, to be noted elsewhere: lines lost at its end leave the chain intact."""
    by_hand: int = 0
    """Readings by hand among the marks."""

    @property
    def sound(self) -> bool:
        """No damage: everything written is there as it was written (readings may still be missing)."""
        return not any(finding.severity == "damage" for finding in self.findings)

    @property
    def empty(self) -> bool:
        """Nothing was recorded, by a station or by hand: there is nothing that could be sound."""
        return not self.by_hand and not any(channel.rows for channel in self.channels)

    def lines(self) -> list[str]:
        """The report as sentences, worst first."""
        order = {"damage": 0, "loss": 1, "remark": 2}
        found = sorted(self.findings, key=lambda finding: order[finding.severity])
        rows = sum(channel.rows for channel in self.channels)
        counts = ((len(self.runs), "run"), (rows, "reading"), (self.events, "mark"))
        said = ", ".join(f"{number} {what}{'' if number == 1 else 's'}" for number, what in counts)
        head = f"{said}: {'DAMAGED' if not self.sound else 'nothing is recorded' if self.empty else 'sound'}"
        return [head, *(f"{finding.severity}: {finding.where}: {finding.says}" for finding in found)]


def verify(folder: Path, *, gap_s: float = GAP_S) -> VerifyReport:
    """Check everything recorded in a test folder; nothing is written.

    Parameters
    ----------
    folder : the test folder.
    gap_s : shortest silence that counts as a gap, s.
    """
    place = TestFolder(folder)
    runs = list_runs(place.record)
    findings: list[Finding] = []
    channels: list[ChannelCount] = []
    gaps: list[Gap] = []
    for run in runs:
        findings += _records(run)
        findings += _segments(run)
        findings += _journals(run)
        for count, found in _channels(run, gap_s):
            channels.append(count)
            gaps += found
    log = EventLog(folder)
    marks, by_hand = log.verify(), sum(event.kind == "reading" for event in log.read())
    findings += [Finding("damage", "marks", fault) for fault in marks.faults]
    findings += [
        Finding("loss", f"{c.run}, {c.station} {c.quantity}", f"{c.lost} readings missing by their running numbers")
        for c in channels
        if c.lost
    ]
    findings += [
        Finding(
            "loss",
            f"{gap.run}, {gap.station} {gap.quantity}",
            f"nothing for {gap.seconds:.3f} s from {rfc3339(gap.from_ns)} to {rfc3339(gap.to_ns)}",
        )
        for gap in gaps
    ]
    findings += _between(runs, channels)
    return VerifyReport(
        tuple(runs), tuple(channels), tuple(gaps), tuple(findings), marks.lines, marks.last_digest, by_hand
    )


def _records(run: RunInfo) -> Iterator[Finding]:
    if run.problem:
        yield Finding("damage", run.name, run.problem)
    if run.cut_off:
        yield Finding("remark", run.name, "no stop record: cut off, or still being written")
    for line in read_lines(run.folder / "notes.jsonl"):
        if line.problem:
            yield Finding("damage", f"{run.name}, notes.jsonl", line.problem)
    for name, expected in run.digests:
        path = run.folder / name
        if not path.is_file():
            yield Finding("damage", f"{run.name}, {name}", "the stop record names it, and it is not there")
        elif digest(path) != expected:
            yield Finding("damage", f"{run.name}, {name}", "its digest is not that of the stop record")


def _segments(run: RunInfo) -> Iterator[Finding]:
    found = numbered(run.folder, SEGMENT_NAME)
    listed = {name: (rows, sha256) for name, rows, sha256 in run.segments}
    names = {path.name for path in found.values()}
    for name in sorted(listed.keys() - names):
        yield Finding("damage", f"{run.name}, {name}", "the stop record names it, and it is not there")
    present = set(found) | set(numbered(run.folder, JOURNAL_NAME))
    for number in sorted(set(range(1, max(present, default=0) + 1)) - present):
        yield Finding("damage", f"{run.name}, segment {number}", "missing between those that are there")
    for path in found.values():
        where = f"{run.name}, {path.name}"
        try:
            with pq.ParquetFile(path, page_checksum_verification=True) as file:
                rows = sum(file.read_row_group(g).num_rows for g in range(file.num_row_groups))
        except (pa.ArrowException, OSError) as error:
            yield Finding("damage", where, f"cannot be read: {str(error).splitlines()[0][:200]}")
            continue
        if path.name in listed:
            wanted, sha256 = listed[path.name]
            if digest(path) != sha256:
                yield Finding("damage", where, "its digest is not that of the stop record")
            elif rows != wanted:
                yield Finding("damage", where, f"{rows} rows where the stop record says {wanted}")
        elif not run.cut_off:
            yield Finding("damage", where, "the stop record does not name it")


def _journals(run: RunInfo) -> Iterator[Finding]:
    for path in sorted(run.folder.glob("*.tmp")):
        yield Finding(
            "remark", f"{run.name}, {path.name}", "was never finished; it may be deleted once nothing records"
        )
    sealed = numbered(run.folder, SEGMENT_NAME)
    for number, path in numbered(run.folder, JOURNAL_NAME).items():
        where = f"{run.name}, {path.name}"
        if number in sealed and opens(run, sealed[number]):
            yield Finding("remark", where, f"is also sealed as {sealed[number].name}; it may be deleted")
            continue
        part = open_journal(run, path)
        if part.schema is None and not part.damage:
            yield Finding("loss", where, "is empty: what it held was not on the disk yet")
        for damage in part.damage:
            if damage.at_end:
                says = f"torn tail: {damage.size} bytes after byte {damage.offset} are no whole batch"
                yield Finding("loss" if damage.size else "remark", where, f"{says}; everything before is read")
            else:
                yield Finding("damage", where, f"{damage.why} at byte {damage.offset}, {damage.size} bytes skipped")
        if not run.cut_off:
            yield Finding("remark", where, "was not sealed at the end of the run; it is read as it is")


def _channels(run: RunInfo, gap_s: float) -> Iterator[tuple[ChannelCount, list[Gap]]]:
    channels: dict[tuple[str, Quantity], list[Piece]] = {}
    for piece in pieces_of(run):
        channels.setdefault((piece.station, piece.quantity), []).append(piece)
    for (station, quantity), pieces in sorted(channels.items()):
        rows = lost = duplicates = 0
        gaps = []
        before_ns = before_number = -1
        limit = int(gap_s * 1e9)
        for piece in pieces:
            try:
                columns = piece.load(["sequence", "flags"])
                # A message that came late is not missing: gaps are sought in the samples' own times.
                time = repaired(read_arrivals([piece])).time_ns
            except BadInput:
                continue  # `_segments` says that it is damaged; what it held shows as a gap
            sequence = columns["sequence"]
            rows += sequence.size
            if time.size > 20:
                limit = max(int(gap_s * 1e9), int(10 * nominal_period(time)))
            duplicates += int(((columns["flags"] & int(Flag.DUPLICATE)) != 0).sum())
            numbers = sequence if before_number < 0 else np.concatenate([[before_number], sequence])
            steps = np.diff(numbers)
            lost += int((steps[steps > 1] - 1).sum())
            times = time if before_ns < 0 else np.concatenate([[before_ns], time])
            gaps += [
                Gap(run.name, station, quantity, int(times[row]), int(times[row + 1]))
                for row in np.flatnonzero(np.diff(times) > limit)
            ]
            before_ns, before_number = int(time[-1]), int(sequence[-1])
        yield (
            ChannelCount(
                run.name,
                station,
                quantity,
                rows,
                lost,
                duplicates,
                min(piece.first_ns for piece in pieces),
                max(piece.last_ns for piece in pieces),
            ),
            gaps,
        )


def _between(runs: list[RunInfo], channels: list[ChannelCount]) -> Iterator[Finding]:
    """How long nothing was recorded between a run and the next one."""
    spans = []
    for run in runs:
        mine = [channel for channel in channels if channel.run == run.name]
        if mine:
            spans.append((run.name, min(c.first_ns for c in mine), max(c.last_ns for c in mine)))
    for (first, _, end), (second, start, _) in itertools.pairwise(spans):
        if start > end:
            says = f"nothing recorded for {(start - end) / 1e9:.3f} s from {rfc3339(end)} to {rfc3339(start)}"
            yield Finding("remark", f"between {first} and {second}", says)
