"""What the program itself costs a rigger in a whole reline: taps and waits, not the work.

A whole set is worked by foot in simulated time, as fast as the bench lets it. Counted are every tap (a fifth of a
second down, a tenth to the next), the rests that the list of checks and the sewing steps demand, the second that a
question must have been shown where nothing but looking comes before its tap, and the rest after a count of sixteenths.
A tap counts as the foot comes up, so a rest is over when the foot goes down a fifth of a second
before its end. Pulling, holding, cutting, trapping and sewing are the trade's, and are not counted. One line in
three is found 3/16 in long, adjusted, and compared again.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from drivers.events import PedalEdge, Tick
from station.bench.bench import ARMED_US, READ_US, SHOWN_US
from station.bench.commands import carry_out
from station.bench.comparing import REST_US
from station.settings.reline import reline_text
from tests.station.bench.workbench import Workbench

JOB = Path(__file__).parents[2] / "config" / "jobs" / "whole-reline.toml"
DOWN_S, APART_S = 0.2, 0.1
LONG_DOWN_S = 1.1


class Foot:
    """A foot on the bench of the tests, and the time that the program has it spend."""

    def __init__(self, desk: Workbench) -> None:
        self.desk = desk
        self.cost_s = 0.0
        self.taps = 0
        self.compared = 0

    def press(self, held_s: float = DOWN_S) -> None:
        """Press and let go."""
        desk = self.desk
        desk.bench.take([PedalEdge(desk.at_us, True)])
        self._pass(held_s)
        desk.bench.take([PedalEdge(desk.at_us, False)])
        self._pass(APART_S)
        self.taps += 1

    def rest(self, us: int) -> None:
        """Wait because the program asks for it, until a tap that begins now comes just in time."""
        self._pass(us / 1e6 - APART_S - DOWN_S)

    def pull(self, lbf: float) -> None:
        """Pull, or let off, for as long as that takes: the trade's work."""
        self.desk.pull(lbf, READ_US / 1e6)

    def _pass(self, seconds: float) -> None:
        self.cost_s += seconds
        if self.desk.lbf is not None:
            self.desk.pull(self.desk.lbf, seconds)
        else:
            self.desk.at_us += round(seconds * 1e6)
        self.desk.bench.take([Tick(self.desk.at_us)])

    def compare(self) -> None:
        """Compare in turn; one in three is 3/16 in long at the first look."""
        self.compared += self.desk.bench.step.round == 1 and not self.desk.bench.step.after_sewing
        off = self.desk.bench.step.round == 1 and not self.desk.bench.step.after_sewing and self.compared % 3 == 0
        self.pull(10.2)
        self.press()
        self.pull(0.0)
        self.pull(10.2)
        if not off:
            self.press()
            return
        self.press(LONG_DOWN_S)
        self.press(LONG_DOWN_S)  # long
        for _ in range(3):  # sixteenths
            self.press()
        self._pass((REST_US + READ_US) / 1e6 - APART_S - DOWN_S)
        self.press()

    def do_step(self) -> None:
        """Do the step at hand."""
        desk, step = self.desk, self.desk.bench.step
        if step.kind == "pre-stretch":
            desk.hold()
            desk.lbf = None
        elif step.kind == "compare":
            self.compare()
        elif step.kind in {"mark", "set"}:
            self.pull(10.2)
            self.press()
        elif step.kind in {"sew", "trial tack"}:
            self.desk.wait(READ_US / 1e6)
            self.press()
            self.rest(ARMED_US[0])
            self.press()
            self.press()
        elif step.kind == "check":
            self.rest(SHOWN_US)
            self.press()
        elif step.kind == "sign":
            carry_out(desk.bench, "sign", {"by": "Somebody"})
        elif step.label == "reference":
            self.rest(READ_US)
            self.press()
        else:  # what the hands do, which is not counted, takes longer than reading what to do
            self.desk.wait(READ_US / 1e6)
            self.press()


def played() -> Foot:
    """Work a whole reline to its signature."""
    foot = Foot(Workbench(plan=reline_text(JOB)))
    while foot.desk.bench.step is not None:
        before = foot.desk.bench.step
        foot.do_step()
        if foot.desk.bench.step is before:
            raise AssertionError(f"{before.key}: nothing came of it: {foot.desk.bench.notice}")
    return foot


def figures() -> list[dict[str, Any]]:
    """Give what a line costs, counted by main lines and by single pieces of line."""
    foot = played()
    state = foot.desk.bench.state
    mains, lines = len(state.members), sum(len(member.lines) for member in state.members)
    return [
        {
            "name": f"taps and waits that a whole reline of {lines} lines ({mains} on links) demands, by line",
            "value": foot.cost_s / lines,
            "unit": "s",
            "asked": "below 20",
            "ceiling": None,
            "ratio": None,
            "met": foot.cost_s / lines < 20,
        },
        {
            "name": "the same by main line, its cascade in it",
            "value": foot.cost_s / mains,
            "unit": "s",
            "asked": "below 20",
            "ceiling": None,
            "ratio": None,
            "met": foot.cost_s / mains < 20,
        },
    ]
