"""A foot pedal whose contact bounces: what a press looks like before anybody has debounced it.

Rules:

- A press is a first edge down and a first edge up, `held_us` later; after either the contact may chatter, always in
  pairs of edges, and comes to rest at the level it went to.
- How long it chatters is drawn with a mean of 1 557 us and never more than 6 200 us: a published study of 18 switches,
  without its two outliers at 157 ms (from memory; its text was not read).
- Edges are stamped strictly upward, so one press is over before the next begins.

>>> edges = FootPedal(seed=3).press(at_us=1_000_000, held_us=150_000)
>>> edges[0], edges[-1].down
(PedalEdge(at_us=1000000, down=True), False)
"""

from __future__ import annotations

import random

from drivers.events import PedalEdge

MEAN_BOUNCE_US = 1_557
LONGEST_BOUNCE_US = 6_200
_MOST_PAIRS = 6  # of edges in one chatter; invented


class FootPedal:
    """A contact under a foot; see the module's docstring."""

    def __init__(self, seed: int) -> None:
        self._chance = random.Random(f"pedal {seed}")  # noqa: S311  # repeatable, no secret
        self._rested_us = -1

    def press(self, at_us: int, held_us: int) -> list[PedalEdge]:
        """Give every edge of a press that begins at `at_us` and is let go `held_us` later, in order."""
        if at_us <= self._rested_us:
            raise ValueError(
                f"found a press at {at_us} us, expected none before the last rests at {self._rested_us} us"
            )
        if held_us <= 0:
            raise ValueError(f"found a press held for {held_us} us, expected longer than 0 us")
        down = self._chatter(at_us, True, held_us - 1)
        edges = down + self._chatter(at_us + held_us, False, LONGEST_BOUNCE_US)
        self._rested_us = edges[-1].at_us
        return edges

    def _chatter(self, at_us: int, down: bool, room_us: int) -> list[PedalEdge]:
        # A beta distribution has the mean and the end of the study exactly.
        shape = LONGEST_BOUNCE_US / MEAN_BOUNCE_US - 1
        lasts_us = min(round(LONGEST_BOUNCE_US * self._chance.betavariate(1, shape)), room_us)
        pairs = min(self._chance.randint(1, _MOST_PAIRS), lasts_us // 2)
        offsets = [0]
        if pairs:
            offsets += [*sorted(self._chance.sample(range(1, lasts_us), 2 * pairs - 1)), lasts_us]
        return [PedalEdge(at_us + offset, down == (n % 2 == 0)) for n, offset in enumerate(offsets)]
