"""Every door of the guided fuzzer, without the fuzzer: good bytes go through, and so do spoilt ones."""

import random
import subprocess
import sys
from pathlib import Path

import fuzz_guided
import pytest
from fuzz import right_checksum
from fuzz_doors import doors, seeds
from fuzz_guided import json_mutated

GOOD = seeds()


def spoilt(data: bytes, chance: random.Random) -> bytes:
    """Change a value of the JSON there is, or some bytes, keeping a sentence's checksum right half of the time."""
    tree = json_mutated(data, chance) if chance.random() < 0.7 else None
    if tree is not None:
        return tree
    changed = bytearray(data)
    for _ in range(chance.randrange(1, 4)):
        if changed:
            changed[chance.randrange(len(changed))] = chance.randrange(256)
    made = bytes(changed)
    return made[:1] + right_checksum(made[1:]) if made[1:2] == b"$" and chance.random() < 0.5 else made


@pytest.mark.parametrize("door", GOOD)
def test_no_bytes_make_a_door_raise(door, tmp_path):
    take, chance = doors(tmp_path)[door], random.Random(7)
    for seed in GOOD[door]:
        take(seed)
    for _ in range(300):
        data = chance.choice(GOOD[door])
        for _ in range(chance.randrange(1, 4)):
            data = spoilt(data, chance)
        take(data)


def test_without_atheris_it_says_what_is_missing(monkeypatch, capsys):
    monkeypatch.setattr(fuzz_guided.importlib.util, "find_spec", lambda name: None)
    monkeypatch.setattr(sys, "argv", ["fuzz_guided.py"])
    assert fuzz_guided.main() == 3
    assert "quietheel[fuzz]" in capsys.readouterr().err


def test_a_few_seconds_guided_by_coverage():
    pytest.importorskip("atheris")
    script = Path(fuzz_guided.__file__)
    command = [sys.executable, str(script), "--minutes", "0.1", "--door", "events.jsonl"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
