"""Coverage-guided bytes through every door of the program: no exception but the typed ones, no growth.

    python tests/bench/fuzz_guided.py [--minutes 15] [--door n1 --door press ...] [--corpus FOLDER]

Needs the extra: pip install 'quietheel[fuzz]' (atheris, Linux and macOS): libFuzzer, guided by every branch and
comparison that a string reaches in config/, logger/ and the page's marks. The doors stand in fuzz_doors.py; they take
turns, each starting from good bytes. Prints one table; exit code 1 where a door raised, with the bytes that did it.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import random
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from memory import resident_mb

LONGEST = 1200
SETTLED = 0.25
"""Share of a run after which caches and corpus are full; what memory grows by after that is growth."""
MOST_GROWTH_MB = 60.0
"""libFuzzer keeps its corpus and what each input reached in memory; that alone takes some tens of MB."""
INSIDE = "--inside"
MEMORY = Path("/dev/shm")
"""Scratch files go here where it is: a disk is a hundred times slower at overwriting them."""
KEYS = ("roll", "pitch", "t", "n", "v", "u", "bn", "bt", "bv", "bver", "must_", "window", "movement", "event", "what")
VALUES = (
    *(None, True, 0, -1, 2, 2**31, 2**63, -(2**63), 10**30, 0.5, 1e308, float("nan"), float("inf")),
    *("", "1", "x" * 300, "\u202e\x1b", "1e999", "2030-05-14T08:42:07Z", "lines", "ashore"),
    *([], {}, [[]], [1, 2], [1, 2, 3], ["lines"], {"x": 1}, [None], ["nan"]),
)


@dataclass(frozen=True)
class Turn:
    """What came of one door."""

    door: str
    strings: int
    edges: int
    corpus: int
    growth_mb: float
    largest_mb: float
    crash: str


def fuzz(door: str, folder: Path, options: list[str]) -> None:
    """Fuzz one door in this process, which ends with it."""
    import atheris

    with atheris.instrument_imports(include=["config", "logger", "quietheel"]):
        from fuzz import right_checksum
        from fuzz_doors import doors

    scratch = folder / "scratch"
    scratch.mkdir()

    def mutated(data: bytes, longest: int, seed: int) -> bytes:
        chance = random.Random(seed)
        if chance.random() < 0.5 and (tree := json_mutated(bytes(data), chance)) is not None:
            return tree[:longest]
        made = bytes(atheris.Mutate(data, longest))
        return made[:1] + right_checksum(made[1:])[: longest - 1] if made[1:2] == b"$" and seed % 2 else made

    atheris.Setup([sys.argv[0], *options], doors(scratch)[door], custom_mutator=mutated)
    atheris.Fuzz()


def json_mutated(data: bytes, chance: random.Random) -> bytes | None:
    """Change one value or key inside the JSON that some bytes hold; None where they hold none.

    Mutated byte by byte, JSON mostly stops being any, and what follows the parser is never reached.
    """
    begin = next((at for at, byte in enumerate(data) if byte in b"[{"), len(data))
    stop = data.find(b"\n", begin)
    stop = len(data) if stop < 0 else stop
    try:
        tree = json.loads(data[begin:stop])
    except (ValueError, RecursionError):
        return None
    inner = [tree]
    for one in inner:
        inner += [value for value in (one.values() if isinstance(one, dict) else one) if isinstance(value, dict | list)]
    place = chance.choice(inner)
    keys = list(place) if isinstance(place, dict) else list(range(len(place)))
    if not keys:
        return None
    key = chance.choice(keys)
    what = chance.random()
    if what < 0.15:
        del place[key]
    elif what < 0.3 and isinstance(place, dict):
        place[chance.choice(KEYS)] = place[key]
    else:
        place[key] = chance.choice(VALUES) if what < 0.8 else chance.choice([place[k] for k in keys])
    return data[:begin] + json.dumps(tree, ensure_ascii=chance.random() < 0.5).encode("utf-8", "replace") + data[stop:]


def take_turn(door: str, good: list[bytes], seconds: float, kept: Path | None) -> Turn:
    """Fuzz one door in a process of its own and look at its memory from outside."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as name:
        folder = Path(name)
        corpus = kept / door if kept else folder / "corpus"
        corpus.mkdir(parents=True, exist_ok=True)
        for number, seed in enumerate(good):
            (corpus / f"seed-{number:03d}").write_bytes(seed)
        limits = [f"-max_total_time={seconds:.0f}", f"-max_len={LONGEST}", "-timeout=20", "-rss_limit_mb=1500"]
        options = [*limits, f"-dict={_dictionary(folder)}", f"-artifact_prefix={folder}/", "-print_final_stats=1"]
        command = [sys.executable, __file__, INSIDE, door, name, *options, str(corpus)]
        with (folder / "said").open("wb+") as said:
            process = subprocess.Popen(command, stdout=said, stderr=subprocess.STDOUT)
            memory = list(_watched(process, seconds))
            said.seek(0)
            text = said.read().decode("utf-8", "replace")
        settled = memory[int(len(memory) * SETTLED) :] or [float("nan")]
        crash = "" if process.returncode == 0 else _crash(folder, text)
        return Turn(
            door,
            _last(text, r"stat::number_of_executed_units:\s+(\d+)"),
            _last(text, r"cov: (\d+)"),
            _last(text, r"corp: (\d+)"),
            settled[-1] - settled[0],
            max(memory, default=float("nan")),
            crash,
        )


def _watched(process: subprocess.Popen[bytes], seconds: float) -> Iterator[float]:
    began = time.monotonic()
    while process.poll() is None:
        time.sleep(0.5)
        # The first second is start-up, the last one of a process that ends has nothing resident.
        if time.monotonic() - began > 2 and (now := resident_mb(process.pid)) > 0:
            yield now


def _dictionary(folder: Path) -> Path:
    from fuzz import WORDS

    path = folder / "words"
    path.write_text("".join('"{}"\n'.format("".join(f"\\x{byte:02x}" for byte in word)) for word in WORDS))
    return path


def _crash(folder: Path, text: str) -> str:
    found = next((path.read_bytes() for path in folder.glob("*-*") if path.is_file()), b"")
    begins = text.find("Uncaught Python exception")
    return f"{found!r}\n{text[begins:][:3000] if begins >= 0 else text[-3000:]}"


def _last(text: str, pattern: str) -> int:
    return int(re.findall(pattern, text)[-1]) if re.search(pattern, text) else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=15.0, help="in all; the doors share them evenly")
    parser.add_argument("--door", action="append", default=[])
    parser.add_argument("--corpus", type=Path, help="kept from run to run")
    options = parser.parse_args()
    if sys.platform == "win32" or importlib.util.find_spec("atheris") is None:
        print("needs atheris: pip install 'quietheel[fuzz]' (Linux, macOS); without it: fuzz.py", file=sys.stderr)
        return 3
    from fuzz_doors import seeds

    good = seeds()
    unknown = set(options.door) - good.keys()
    if unknown:
        parser.error(f"no door {', '.join(sorted(unknown))}; there are {', '.join(good)}")
    turns = []
    names = options.door or list(good)
    print(f"{'door':<14}{'strings':>12}{'edges':>8}{'corpus':>8}{'growth, MB':>12}{'largest, MB':>13}  crash")
    for door in names:
        turn = take_turn(door, good[door], 60 * options.minutes / len(names), options.corpus)
        turns.append(turn)
        figures = f"{turn.strings:>12,}{turn.edges:>8,}{turn.corpus:>8,}{turn.growth_mb:>12.1f}{turn.largest_mb:>13.0f}"
        print(f"{door:<14}{figures}  {'yes' if turn.crash else 'none'}", flush=True)
        if turn.crash:
            print(turn.crash, file=sys.stderr)
    strings, crashes = sum(turn.strings for turn in turns), sum(bool(turn.crash) for turn in turns)
    print(f"{'all':<14}{strings:>12,}{sum(turn.edges for turn in turns):>8,}{'':>41}  {crashes}")
    return 1 if crashes or any(turn.growth_mb > MOST_GROWTH_MB for turn in turns) else 0


if __name__ == "__main__":
    if sys.argv[1:2] == [INSIDE]:
        fuzz(sys.argv[2], Path(sys.argv[3]), sys.argv[4:])
    sys.exit(main())
