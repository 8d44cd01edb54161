"""What the campaigns share: how they are asked, how they tell their progress and their finding, and exact limits.

A campaign is run as `python -m tests.campaigns.NAME --json [--seed N] [--size N]`. Progress goes to standard error, the
finding to standard output: one JSON document, or without `--json` a sentence. Status 1 says that it found what must not
be. The same seed and size give the same finding, however many processors work on it.

>>> limits_95(0, 100), round(upper_95(0, 100_000), 8)
((0.0, 0.0362), 2.996e-05)
>>> limits_95(9, 10)
(0.555, 0.9975)
"""

from __future__ import annotations

import argparse
import json
import math
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from scipy.stats import beta

T = TypeVar("T")
N = TypeVar("N", int, float)
_EVERY_S = 5.0


@dataclass(frozen=True)
class Finding:
    """What came out: figures by name, a sentence for a person, and whether it is as it must be."""

    figures: dict[str, Any]
    words: str
    good: bool


@dataclass(frozen=True)
class Told:
    """What a campaign's own file tells of it: what it asks, its command, and its size unless told."""

    what: str
    command: str
    size: str


def every() -> list[Told]:
    """Give every campaign beside this module, by its name."""
    found = []
    for path in sorted(Path(__file__).parent.glob("*.py")):
        source = path.read_text(encoding="utf-8")
        if asked := re.search(r'^    sys\.exit\(run\(__doc__, ([\d._]+), "(\w+)"', source, re.MULTILINE):
            first = re.match(
                rf'r?"""(.+): `(python -m tests\.campaigns\.{path.stem} --json)( \[--\w+ \w+\])+`\.$', source, re.M
            )
            if first is None:
                raise ValueError(f"{path}: its first line should be what it asks, a colon and its command")
            found.append(Told(first[1], first[2], f"{float(asked[1]):,.0f} {asked[2]}"))
    return found


def run(story: str | None, size: N, unit: str, work: Callable[[int, N], Finding]) -> int:
    """Ask what to do, do it (`work` of seed and size), print the finding; give the status to exit with."""
    options = argparse.ArgumentParser(description=story, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--json", action="store_true", help="print one JSON document")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument(
        "--size", type=type(size), default=size, metavar=unit.upper(), help=f"how many {unit} (default {size})"
    )
    asked = options.parse_args()
    if not 0 < asked.size < math.inf:
        options.error(f"found --size {asked.size}, expected more than 0 {unit}")
    began_s = time.monotonic()
    found = work(asked.seed, asked.size)
    took_s = round(time.monotonic() - began_s, 1)
    print(json.dumps(found.figures | {"seed": asked.seed, "seconds": took_s}) if asked.json else found.words)
    return 0 if found.good else 1


def of_tries(tried: int, wrong: Sequence[str], **more: float) -> Finding:
    """Give the finding of so many tries, of which some went wrong, each told in words."""
    figures = {"tried": tried, "survived": tried - len(wrong), "lost": len(wrong), **more, "first": some(wrong)}
    return Finding(figures, "\n".join([f"{tried} tries, {len(wrong)} wrong", *some(wrong)]), not wrong)


class Progress:
    """Tells on standard error how far it is, at most every five seconds, and at the end."""

    def __init__(self, of: int, what: str) -> None:
        self._of, self._what, self._told_s = of, what, time.monotonic()

    def __call__(self, count: int, more: str = "") -> None:
        """Say that `count` are done."""
        if count >= self._of or time.monotonic() - self._told_s >= _EVERY_S:
            self._told_s = time.monotonic()
            print(f"{count} of {self._of} {self._what}{', ' * bool(more)}{more}", file=sys.stderr, flush=True)


def shared(work: Callable[[tuple[int, int, int]], T], seed: int, size: int, share: int) -> Iterator[tuple[int, T]]:
    """Give `work` of (seed, first, last + 1), share by share in their order, from all processors; with how far it is.

    What is small is worked here, without the cost of a process.
    """
    parts = [(seed, first, min(first + share, size)) for first in range(0, size, share)]
    if len(parts) < 2:
        yield from ((last, work((at, first, last))) for at, first, last in parts)
        return
    with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as workers:
        yield from zip((part[2] for part in parts), workers.map(work, parts), strict=True)


def upper_95(found: int, of: int) -> float:
    """Give the exact 95 % upper limit of a share of which `found` were seen among `of` (Clopper and Pearson, 1934)."""
    return 1.0 if found >= of else float(beta.ppf(0.95, found + 1, of - found))


def limits_95(found: int, of: int) -> tuple[float, float]:
    """Give the exact 95 % limits, both sides, of a share of which `found` were seen among `of`, to four places."""
    if of == 0:
        return 0.0, 1.0
    low = 0.0 if found == 0 else float(beta.ppf(0.025, found, of - found + 1))
    high = 1.0 if found == of else float(beta.ppf(0.975, found + 1, of - found))
    return round(low, 4), round(high, 4)


def some(words: Sequence[str], most: int = 5) -> list[str]:
    """Give the first few of what was found, for a person to begin with."""
    return list(words[:most])
