"""Bytes to frames: cut a stream into lines, take a message whole; keep what is too long as garbage, within bounds."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import Protocol

LONGEST_LINE = 4096
"""Bytes. NMEA 0183 sentences have at most 82 characters; JSON and SenML lines are longer."""
LONGEST_MESSAGE = 256 * 1024
"""Bytes of one MQTT payload."""
MOST_LINES = 2000
"""Of one MQTT payload: a hostile one of nothing but beginnings must not hold up the other stations."""


@dataclass(frozen=True)
class NoReading:
    """Bytes that are no reading, and why."""

    data: bytes
    reason: str


class Framer(Protocol):
    """Cuts frames out of bytes; holds what is not complete yet, never more than its limit."""

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """Take bytes in; return complete frames and what can be none."""

    def reset(self) -> NoReading | None:
        """Forget the part of a frame held (the source was interrupted); returns it as garbage."""


class LineFramer:
    r"""Lines ended by ``\n``, ``\r`` or both; empty ones are nothing.

    >>> framer = LineFramer()
    >>> framer.feed(b"1.5\r\n1.")
    ([b'1.5'], [])
    >>> framer.feed(b"6\n")
    ([b'1.6'], [])
    """

    def __init__(self, longest: int = LONGEST_LINE) -> None:
        self._longest = longest
        self._held = b""
        self._overlong = False

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """See `Framer`. What goes over the limit is cut into pieces of that length and none of it is a frame."""
        data = data.replace(b"\r\n", b"\n")
        if b"\r" in data:
            data = data.replace(b"\r", b"\n")
        frames = data.split(b"\n")
        rejected: list[NoReading] = []
        if len(frames) > 1 or self._held:
            frames[0] = self._held + frames[0]
        self._held = frames.pop()
        if self._overlong and frames:
            # The end of a line whose beginning was already thrown away.
            rejected.append(NoReading(frames.pop(0), "end of a line that is too long"))
            self._overlong = False
        if len(self._held) > self._longest:
            reason = f"no line end within {self._longest} bytes"
            held = self._held
            whole = len(held) - len(held) % self._longest
            rejected += [NoReading(held[at : at + self._longest], reason) for at in range(0, whole, self._longest)]
            self._held = held[whole:]
            self._overlong = True
        longest = self._longest
        kept = list(filter(None, frames))
        if kept and max(map(len, kept)) > longest:
            rejected += [NoReading(frame, f"longer than {longest} bytes") for frame in kept if len(frame) > longest]
            kept = [frame for frame in kept if len(frame) <= longest]
        return kept, rejected

    def reset(self) -> NoReading | None:
        """See `Framer`."""
        held, self._held, self._overlong = self._held, b"", False
        return NoReading(held, "cut off by an interruption") if held else None


class WholeFramer:
    """Each message is one frame."""

    def __init__(self, longest: int = LONGEST_MESSAGE) -> None:
        self._longest = longest

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """See `Framer`."""
        if len(data) > self._longest:
            return [], [NoReading(data[: self._longest], f"payload of {len(data)} bytes, over {self._longest}")]
        return ([data] if data else []), []

    def reset(self) -> NoReading | None:
        """Nothing is ever held."""
        return None


class LinesInMessage:
    """A message holding one or more lines, each complete: the last one needs no line end."""

    def __init__(self, longest: int = LONGEST_MESSAGE, longest_line: int = LONGEST_LINE) -> None:
        self._whole = WholeFramer(longest)
        self._longest_line = longest_line

    def feed(self, data: bytes) -> tuple[list[bytes], list[NoReading]]:
        """See `Framer`."""
        frames, rejected = self._whole.feed(data)
        lines = LineFramer(self._longest_line)
        kept: list[bytes] = []
        for frame in frames:
            found, wrong = lines.feed(frame + b"\n")
            kept += found
            rejected += wrong
        if len(kept) > MOST_LINES:
            rejected.append(NoReading(b"\n".join(kept[MOST_LINES:]), f"more than {MOST_LINES} lines in one message"))
            del kept[MOST_LINES:]
        return kept, rejected

    def reset(self) -> NoReading | None:
        """Nothing is ever held."""
        return None


@dataclass(frozen=True)
class RawSample:
    """One piece of garbage, kept for a person to look at."""

    host_ns: int
    data: bytes
    """At most the store's sample length."""
    length: int
    """Bytes it really had."""
    reason: str

    def text(self) -> str:
        r"""Return it in characters that harm no screen and no file.

        >>> RawSample(0, b"\x1b[2J$HEHRM", 10, "").text()
        '\\x1b[2J$HEHRM'
        """
        return self.data.decode("latin-1").encode("unicode_escape").decode("ascii")


class RawStore:
    """Counts garbage without limit and keeps some of it: the newest in memory, a bounded amount for the record.

    Parameters
    ----------
    samples : how many of the newest are kept in memory.
    sample_bytes : how much of each is kept.
    record_bytes : how much in all is handed out by `take_unrecorded` in one run.
    """

    def __init__(self, samples: int = 64, sample_bytes: int = 160, record_bytes: int = 500_000) -> None:
        self.count = 0
        self.bytes = 0
        self._sample_bytes = sample_bytes
        self._newest: deque[RawSample] = deque(maxlen=samples)
        self._unrecorded: deque[RawSample] = deque(maxlen=samples)
        self._record_left = record_bytes

    def keep(self, rejected: NoReading, host_ns: int) -> None:
        """Count a piece and keep its beginning."""
        self.count += 1
        self.bytes += len(rejected.data)
        sample = RawSample(host_ns, rejected.data[: self._sample_bytes], len(rejected.data), rejected.reason)
        self._newest.append(sample)
        if self._record_left > 0:
            self._record_left -= len(sample.data) + 64
            self._unrecorded.append(sample)

    @property
    def newest(self) -> tuple[RawSample, ...]:
        """The newest pieces, oldest first."""
        return tuple(self._newest)

    def take_unrecorded(self) -> list[RawSample]:
        """Return what has not been written into the record yet; empty once the record's share is used up."""
        taken = list(self._unrecorded)
        self._unrecorded.clear()
        return taken
