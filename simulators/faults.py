"""What a cable, an adapter or a tired indicator does to the bytes on their way: bytes in, bytes out, on a schedule.

Rules:

- A fault hits each `every`-th frame sent while it lasts, from `from_us` up to and without `until_us`.
- Faults are put one behind the other in the order given; each sees what the one before let through.
- A wire never lets later bytes overtake earlier ones: what has to wait makes all behind it wait.
- Bytes that arrive at one stamp arrive as one piece. Every hit is counted.

| kind | what becomes of a frame |
|---|---|
| split | it arrives in two pieces, the second `by_us` later |
| join | it waits for the next multiple of `by_us`, with all others that came in between |
| garble | one bit of it is flipped |
| drop | it never arrives |
| stall | it waits until the fault is over |
| duplicate | it arrives twice |
| swap | it arrives after the frame that follows it |
| freeze | the frame that the fault began with arrives in its place, again and again |
| replace | `raw` arrives in its place |
| unplug | it never arrives; on real ports, the port goes away and comes back |

>>> wire = Wire([Fault("join", by_us=16_000), Fault("duplicate", from_us=20_000)], seed=1)
>>> wire.carry([Sent(5_000, b"1;"), Sent(10_000, b"2;"), Sent(18_000, b"3;")], until_us=32_000)
[Sent(at_us=16000, raw=b'1;2;'), Sent(at_us=32000, raw=b'3;3;')]
>>> wire.counts
Counter({'join': 3, 'duplicate': 1})
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from simulators.scale import Sent

Kind = Literal[
    "split", "join", "garble", "drop", "stall", "duplicate", "swap", "freeze", "replace", "unplug"
]  # fmt: skip
FOREVER_US = 2**62
_NEEDS_BY = ("split", "join")


@dataclass(frozen=True)
class Fault:
    """One fault on the schedule; see the module's docstring."""

    kind: Kind
    from_us: int = 0
    until_us: int = FOREVER_US
    every: int = 1
    by_us: int = 0
    raw: bytes = b""

    def __post_init__(self) -> None:
        if self.from_us >= self.until_us or self.every < 1:
            raise ValueError(f"found {self}, expected it to last some time and hit each frame or each few")
        if (self.by_us > 0) != (self.kind in _NEEDS_BY) or bool(self.raw) != (self.kind == "replace"):
            raise ValueError(f"found {self}, expected by_us with split and join only, raw with replace only")
        if self.kind == "stall" and self.until_us == FOREVER_US:
            raise ValueError(f"found {self}, expected a stall that ends; use drop for one that does not")

    def lasts(self, at_us: int) -> bool:
        """Tell whether the fault is on at `at_us`."""
        return self.from_us <= at_us < self.until_us


class Wire:
    """The way from the scale to the port, with everything that is wrong with it; see the module's docstring."""

    def __init__(self, faults: Iterable[Fault] = (), seed: int = 0) -> None:
        self.faults = tuple(faults)
        self.counts: Counter[str] = Counter()
        self._stages = [_Stage(fault, seed + place, self.counts) for place, fault in enumerate(self.faults)]
        self._waiting: list[Sent] = []
        self._last_us = 0

    def carry(self, frames: Sequence[Sent], until_us: int) -> list[Sent]:
        """Take frames just sent, in order; give what has arrived by `until_us`, in order."""
        passing: Iterable[Sent] = frames
        for stage in self._stages:
            passing = [arriving for frame in passing for arriving in stage.carry(frame)]
        for at_us, raw in passing:
            self._last_us = max(self._last_us, at_us)
            self._waiting.append(Sent(self._last_us, raw))
        arrived = [sent for sent in self._waiting if sent.at_us <= until_us]
        del self._waiting[: len(arrived)]
        return [
            Sent(at_us, b"".join(sent.raw for sent in together))
            for at_us, together in groupby(arrived, key=lambda sent: sent.at_us)
        ]

    def unplugged(self, at_us: int) -> bool:
        """Tell whether the cable is out at `at_us`."""
        return any(fault.kind == "unplug" and fault.lasts(at_us) for fault in self.faults)


class _Stage:
    """One fault at work."""

    def __init__(self, fault: Fault, seed: int, counts: Counter[str]) -> None:
        self._fault = fault
        self._chance = random.Random(f"fault {seed}")  # noqa: S311  # repeatable, no secret
        self._counts = counts
        self._seen = 0
        self._kept: bytes | None = None

    def carry(self, frame: Sent) -> list[Sent]:
        if self._fault.kind == "swap" and self._kept is not None:
            overtaken, self._kept = Sent(frame.at_us, self._kept), None
            return [frame, overtaken]
        if not self._fault.lasts(frame.at_us) or not frame.raw:
            return [frame]
        self._seen += 1
        if self._seen % self._fault.every:
            return [frame]
        self._counts[self._fault.kind] += 1
        return self._hit(frame)

    def _hit(self, frame: Sent) -> list[Sent]:
        at_us, raw = frame
        by_us = self._fault.by_us
        match self._fault.kind:
            case "split":
                cut = self._chance.randint(1, max(1, len(raw) - 1))
                return [Sent(at_us, raw[:cut]), Sent(at_us + by_us, raw[cut:])]
            case "join":
                return [Sent(-(-at_us // by_us) * by_us, raw)]
            case "garble":
                place, bit = self._chance.randrange(len(raw)), self._chance.randrange(8)
                return [Sent(at_us, raw[:place] + bytes([raw[place] ^ 1 << bit]) + raw[place + 1 :])]
            case "drop" | "unplug":
                return []
            case "stall":
                return [Sent(self._fault.until_us, raw)]
            case "duplicate":
                return [frame, frame]
            case "swap":
                self._kept = raw
                return []
            case "freeze":
                self._kept = self._kept or raw
                return [Sent(at_us, self._kept)]
            case "replace":
                return [Sent(at_us, self._fault.raw)]
