"""Who pulls: a hand, a clamp or a dead weight, by a plan or as told live.

Rules:

- A **pull** goes from the tension of the moment to the wanted one in a straight line over its ramp, then is held. A new
  pull takes over from the one before at its own stamp, ramp or no ramp.
- What is held depends on the grip. A *clamp* (or a winch) and a *hand* stay where they are, so the line relaxes between
  their fingers until they top up; a *weight* keeps the tension and the line lengthens. An eased-off line hangs slack.
- A hand trembles, in proportion to its pull: sines at 8 to 12 Hz and a slow sway (from memory), seeded, bounded at
  about three times their root mean square. Tremor is a function of time alone, so it does not depend on who samples it.
- Time is handed in and never runs back.

>>> from simulators.line import HMPE, BraidedLine
>>> rigger = Puller(BraidedLine(1, HMPE, 3.0), grip="clamp")
>>> rigger.pull_to(130.0, at_us=1_000_000, ramp_us=2_000_000)
>>> [round(rigger.tension_n(second * 1_000_000)) for second in (1, 2, 3)], rigger.tension_n(40_000_000) < 130
([0, 65, 130], True)
>>> rigger.ease_off(at_us=41_000_000, ramp_us=1_000_000)
>>> rigger.tension_n(42_000_000)
0.0
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain
from typing import Literal

from simulators.line import BraidedLine

Grip = Literal["hand", "clamp", "weight"]


@dataclass(frozen=True)
class Pull:
    """One thing to do: from `at_us` on, go to `tension_n` within `ramp_us`, and hold."""

    at_us: int
    tension_n: float
    ramp_us: int = 1_000_000

    def __post_init__(self) -> None:
        if self.tension_n < 0 or self.ramp_us < 0:
            raise ValueError(f"found {self}, expected no pull and no ramp below zero")


def ease_off(at_us: int, ramp_us: int = 1_000_000) -> Pull:
    """Give the pull that ends all pulling."""
    return Pull(at_us, 0.0, ramp_us)


class Puller:
    """Somebody or something on the end of a line; see the module's docstring.

    `plan` is pulls in order of time, and may go on for ever. `tremor_share` is the root mean square of the tremor as a
    share of the pull; only a hand trembles.
    """

    def __init__(
        self,
        line: BraidedLine,
        grip: Grip = "hand",
        plan: Iterable[Pull] = (),
        tremor_share: float = 0.004,
        seed: int = 0,
    ) -> None:
        self.line = line
        self.grip = grip
        self._plan = iter(plan)
        self._next = next(self._plan, None)
        self._pull = Pull(0, 0.0, 0)
        self._from_n = 0.0
        self._held_m: float | None = None
        self._at_us: int | None = None
        self._tremor = _Tremor(seed, tremor_share if grip == "hand" else 0.0)

    def pull_to(self, tension_n: float, at_us: int, ramp_us: int) -> None:
        """Pull from the tension at `at_us` to `tension_n` within `ramp_us`, then hold. The rest of a plan stays."""
        self._begin(Pull(at_us, tension_n, ramp_us))

    def ease_off(self, at_us: int, ramp_us: int) -> None:
        """Ease the line off within `ramp_us`. The rest of a plan stays."""
        self._begin(ease_off(at_us, ramp_us))

    def tension_n(self, at_us: int) -> float:
        """Give the true tension of the line at `at_us`, in newtons: what a scale in the line would feel."""
        while self._next is not None and self._next.at_us <= at_us:
            planned, self._next = self._next, next(self._plan, None)
            self._begin(planned)
        self._advance(at_us)
        return self.line.tension_n * (1 + self._tremor.at(at_us))

    def _begin(self, pull: Pull) -> None:
        self._advance(pull.at_us)
        self._pull, self._from_n, self._held_m = pull, self.line.tension_n, None

    def _advance(self, at_us: int) -> None:
        if self._at_us is not None and at_us < self._at_us:
            raise ValueError(f"found a stamp of {at_us} us after {self._at_us} us, expected time to go forward")
        self._at_us = at_us
        pull, ramped_us = self._pull, self._pull.at_us + self._pull.ramp_us
        if at_us < ramped_us:
            share = (at_us - pull.at_us) / pull.ramp_us
            self.line.pull_to(self._from_n + share * (pull.tension_n - self._from_n), at_us)
        elif self.grip == "weight" or pull.tension_n == 0:
            self.line.pull_to(pull.tension_n, at_us)
        else:
            if self._held_m is None:
                self._held_m = self.line.pull_to(pull.tension_n, ramped_us)
            self.line.stretch_to(self._held_m, at_us)


def repeated(plan: Iterable[Pull], every_us: int) -> Iterable[Pull]:
    """Give a plan again and again, each time `every_us` later, without end."""
    plan = tuple(plan)
    rounds = iter(range(0, 2**62, every_us)) if plan else iter(())
    return chain.from_iterable(
        (Pull(pull.at_us + start_us, pull.tension_n, pull.ramp_us) for pull in plan) for start_us in rounds
    )


class _Tremor:
    """A hand's unrest as a share of its pull: a sum of sines."""

    def __init__(self, seed: int, share: float) -> None:
        chance = random.Random(f"tremor {seed}")  # noqa: S311  # repeatable, no secret
        bands_hz = [(8.0, 12.0)] * 3 + [(0.2, 0.6)] * 2
        self._amplitude = share * math.sqrt(2 / len(bands_hz))
        self._sines = [(math.tau * chance.uniform(*band) / 1e6, chance.uniform(0, math.tau)) for band in bands_hz]

    def at(self, at_us: int) -> float:
        if not self._amplitude:
            return 0.0
        return self._amplitude * sum(math.sin(turn * at_us + phase) for turn, phase in self._sines)
