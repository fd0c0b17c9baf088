"""A tenth of the bytes garbage, a twentieth of the lines twice: what is recorded, and is any row wrong?

    python tests/bench/dirty_lines.py [--lines 200000]

Garbage: bursts of 1 to 30 random bytes thrown in anywhere, also in the midst of sentences. Duplicates: lines with a
device time sent again, up to 50 lines later. Wrong is a row whose value was never sent. Prints one table.
"""

from __future__ import annotations

import argparse
import random
import sys
from itertools import pairwise

from config.stations import ChannelMap, LineFormat, SerialSource, Station
from logger.byte_queue import Chunk
from logger.dialects.nmea import sentence
from logger.intake import Intake
from logger.records import Flag

SERIAL = SerialSource(type="serial", port="COM4")


def with_garbage(lines: list[bytes], share: float, chance: random.Random) -> bytes:
    """Throw bursts of random bytes in until they are ``share`` of all bytes."""
    clean = b"".join(lines)
    bursts = round(len(clean) * share / (1 - share) / 15.5)
    places = sorted(chance.randrange(len(clean)) for _ in range(bursts))
    pieces, before = [], 0
    for place in places:
        pieces += [clean[before:place], chance.randbytes(chance.randrange(1, 31))]
        before = place
    return b"".join([*pieces, clean[before:]])


def garbage(count: int, seed: int = 1) -> dict[str, float]:
    """Sentences with garbage thrown in."""
    chance = random.Random(seed)
    # Values are numbered, so that a wrong one cannot pass for another by chance: four decimals, all different.
    sent = [f"{n / 10_000:.4f}" for n in range(count)]
    stream = with_garbage([sentence(f"HEXDR,A,{text},D,HEEL") for text in sent], 0.1, chance)
    intake = Intake(
        Station(name="a", dialect="nmea", source=SERIAL, channels=(ChannelMap(quantity="heel", field="HEEL"),)), "x"
    )
    rows = []
    at = 0
    while at < len(stream):
        length = chance.randrange(1, 200)
        rows += intake.chunk(Chunk(stream[at : at + length], at), at + 1)
        at += length
    known = set(sent)
    wrong = [r for r in rows if r.sent.split()[0] not in known]
    order = [r.value for r in rows]
    return {
        "sentences sent": count,
        "rows recorded": len(rows),
        "share recorded": len(rows) / count,
        "wrong rows": len(wrong),
        "rows out of order": sum(b < a for a, b in pairwise(order)),
        "pieces of garbage kept count of": intake.raw.count,
    }


def duplicates(count: int, seed: int = 1) -> dict[str, float]:
    """Timed lines, some of them twice."""
    chance = random.Random(seed)
    form = LineFormat(columns=("t", "roll"), time_column="t", time_format="unix_ms")
    station = Station(
        name="a",
        dialect="lines",
        source=SERIAL,
        channels=(ChannelMap(quantity="heel", field="roll"),),
        line_format=form,
    )
    queue: list[tuple[int, int]] = [(n * 10, n) for n in range(count)]
    twice = chance.sample(range(count), count // 20)
    queue += [(n * 10 + chance.randrange(1, 500), n) for n in twice]
    intake = Intake(station, "x")
    flagged: list[bool] = []
    seen: set[int] = set()
    right = 0
    for when, number in sorted(queue):
        (row,) = intake.take(
            b"%d,%.3f\n" % (1_900_000_000_000 + number * 10, number % 7), 1_900_000_000_000_000_000 + when * 10**6
        )
        flagged.append(bool(row.flags & Flag.DUPLICATE))
        right += flagged[-1] == (number in seen)
        seen.add(number)
    return {
        "lines sent": len(queue),
        "of these duplicates": len(twice),
        "flagged as duplicates": sum(flagged),
        "flagged wrongly or missed": len(queue) - right,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=200_000)
    options = parser.parse_args()
    good = True
    for title, found, bad in (
        ("10 % garbage bytes", garbage(options.lines), "wrong rows"),
        ("5 % duplicates", duplicates(options.lines), "flagged wrongly or missed"),
    ):
        good = good and found[bad] == 0
        print(f"\n{title}: {'holds' if found[bad] == 0 else 'MISSED'}")
        for what, figure in found.items():
            print(f"  {what:<36}{figure:>12,.3f}" if isinstance(figure, float) else f"  {what:<36}{figure:>12,d}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
