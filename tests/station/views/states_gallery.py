"""Every state of the bench window: how a job on the tests' bench, or a check of the tests' scale, comes to it."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from station.bench.commands import carry_out
from station.bench.cues import Cue
from station.bench.snapshot import Snapshot
from tests.station.views import weighing_gallery

sys.path.insert(0, str(Path(__file__).parents[1] / "bench"))
from test_reline import small_set
from workbench import Workbench


def cause(_: Workbench) -> None:
    """Begin with the cause."""


def cutting(desk: Workbench) -> None:
    """Cut the line and number it."""
    desk.work_to("A: cut")


def pull_to(desk: Workbench) -> None:
    """Wait for the pull."""
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 3.0)


def too_little(desk: Workbench) -> None:
    """Pull, but not enough."""
    pull_to(desk)
    desk.pull(21.4, 3.0)


def running(desk: Workbench) -> None:
    """Hold, well inside the band."""
    pull_to(desk)
    desk.pull(32.0, 14.0)


def broken(desk: Workbench) -> None:
    """Let the pull fall out of the band."""
    running(desk)
    desk.pull(24.0, 1.0)


def no_reading(desk: Workbench) -> None:
    """Hear nothing from the scale, though its cable is in."""
    running(desk)
    desk.lbf = None
    desk.wait(3.0)


def program_fault(desk: Workbench) -> None:
    """Fail in the program while a hold runs."""
    running(desk)
    desk.bench.fail(ValueError("a fault put in by hand"))
    desk.pull(32.0, 0.5)


def by_hand(desk: Workbench) -> None:
    """Pre-stretch without a scale."""
    desk.work_to("A: pre-stretch")


def pre_stretch(desk: Workbench) -> None:
    """Pull, and let the pull sink until it is foretold."""
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 3.0)
    for tenth in range(12):
        desk.pull(2.6 * tenth, 0.1)
    for tenth in range(150):
        desk.pull(31.8 - 1.15 * math.log(1 + tenth / 10), 0.1)


def complete(desk: Workbench) -> None:
    """Hold until the time is complete."""
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 3.0)
    desk.pull(31.2, 31.0)


def unplugged(desk: Workbench) -> None:
    """Pull the cable in mid-hold."""
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 3.0)
    desk.pull(31.2, 12.0)
    desk.unplug()
    desk.wait(1.5)


def void(desk: Workbench) -> None:
    """Pull over the ceiling."""
    desk.work_to("A: pre-stretch")
    desk.hold(61.0, 2.0)


def marking(desk: Workbench) -> None:
    """Mark where the cascade enters."""
    desk.work_to("B into A: mark")
    desk.pull(10.1, 1.0)


def not_counted(desk: Workbench) -> None:
    """Tap for a mark before the marking pull is there."""
    desk.work_to("B into A: mark")
    desk.pull(6.0, 1.0)
    desk.press()


def trapping(desk: Workbench) -> None:
    """Trap the link loop."""
    desk.work_to("A: link loop")


def leaving_long(desk: Workbench) -> None:
    """Leave it long, then trap."""
    desk.work_to("A canopy end: mark")
    desk.pull(10.1, 1.0)


def reference_first(desk: Workbench) -> None:
    """Pull the opposite number first."""
    desk.work_to("B: compare 1")
    desk.pull(10.1, 1.0)


def reference_kept(desk: Workbench) -> None:
    """Ease the opposite number off: its pull is kept."""
    reference_first(desk)
    desk.press()


def comparing(desk: Workbench) -> None:
    """Pull the new line as its opposite number."""
    reference_kept(desk)
    desk.pull(0.0, 0.5)
    desk.pull(10.0, 1.0)


def unequal(desk: Workbench) -> None:
    """Pull the new line less than its opposite number."""
    reference_kept(desk)
    desk.pull(0.0, 0.5)
    desk.pull(8.1, 1.0)


def long_or_short(desk: Workbench) -> None:
    """Say that they differ."""
    comparing(desk)
    desk.press(1.3)


def counting(desk: Workbench) -> None:
    """Count sixteenths with the foot."""
    long_or_short(desk)
    desk.press(1.3)
    for _ in range(3):
        desk.press()


def confirming(desk: Workbench) -> None:
    """Confirm the difference."""
    counting(desk)
    desk.wait(3.2)


def taking_in(desk: Workbench) -> None:
    """Take the new line in."""
    confirming(desk)
    desk.press()


def letting_out(desk: Workbench) -> None:
    """Let the new line out."""
    long_or_short(desk)
    desk.press()
    desk.press()
    desk.press()
    desk.wait(3.2)
    desk.press()


def balanced(desk: Workbench) -> None:
    """Compare both lines on a balance bar."""
    desk.work_to("B: compare 1")
    desk.pull(20.3, 1.0)


def two_cells(desk: Workbench) -> None:
    """Compare on two cells, the second checked by nobody."""
    desk.work_to("B: compare 1")
    desk.beside(1.0, lbf=10.1, other_lbf=10.2)


def gauge(desk: Workbench) -> None:
    """Read the difference from a length gauge."""
    desk.work_to("B: compare 1")
    desk.beside(1.5, lbf=10.1, mm=100.0)
    desk.step_on_it()
    desk.beside(0.5, lbf=0.0, mm=100.0)
    desk.beside(1.5, lbf=10.1, mm=103.175)


def set_pair(desk: Workbench) -> None:
    """Pull one length for both lines of a pair."""
    desk.work_to("A 1 left: pre-stretch")
    desk.pull(0.0, 1.0)


def set_turned_away(desk: Workbench) -> None:
    """Leave the other side's old line on."""
    desk.work_to("A 1 left: route")
    carry_out(desk.bench, "another line", {"line": "A 1 right"})
    desk.work_to("A 1 right: strip")


def set_lines(desk: Workbench) -> None:
    """Look how far the set has come."""
    desk.work_to("C 3 left: strip")


def setting(desk: Workbench) -> None:
    """Set it under a pull, pinned."""
    desk.work_to("B into A: set")
    desk.pull(10.3, 1.0)


def sewing(desk: Workbench) -> None:
    """Arm the foot in a sewing step."""
    desk.work_to("A canopy end: sew")
    desk.press()
    desk.wait(2.0)
    desk.press()


def trial_tack(desk: Workbench) -> None:
    """Try the tack on scrap."""
    desk.work_to("trial tack")


def checks(desk: Workbench) -> None:
    """Look down the list of checks."""
    desk.work_to("check: line continuity")


def second_person(desk: Workbench) -> None:
    """Have a second person look."""
    desk.work_to("second person")


def signing(desk: Workbench) -> None:
    """Come to the signature."""
    desk.work_to("sign")


def signed(desk: Workbench) -> None:
    """Have it signed."""
    desk.work_to("sign")
    carry_out(desk.bench, "sign", {"by": "First Person"})


def disk_full(desk: Workbench) -> None:
    """Fill the disk."""
    desk.work_to("A: cut")
    desk.wait(2.2)
    desk.disk_full = True
    desk.press()


@dataclass(frozen=True, slots=True)
class State:
    """One state: how the bench comes to it, and how the window is set."""

    group: str
    reach: Callable[[Workbench], None] | Callable[[], Snapshot]
    make: Callable[[], Workbench] | None = Workbench
    far: bool = False
    muted: bool = False
    cue: Cue | None = None
    name: str = ""

    @property
    def key(self) -> str:
        """Give its name in a file's name."""
        return self.name or self.reach.__name__.replace("_", "-")

    @property
    def told(self) -> str:
        """Give what it shows, in words."""
        return (self.reach.__doc__ or "").strip().rstrip(".")

    def snapshot(self) -> Snapshot:
        """Work the bench to it."""
        if self.make is None:
            return self.reach()  # type: ignore[call-arg]  # a moment that makes its own bench
        desk = self.make()
        self.reach(desk)  # type: ignore[call-arg]  # a state of this bench
        return desk.seen()


def unmeasured() -> Workbench:
    """Give a bench without instruments."""
    return Workbench(measured=False)


def reserve() -> Workbench:
    """Give a bench with a reserve on it."""
    return Workbench(kind="reserve")


def on_a_bar() -> Workbench:
    """Give a bench that compares on a balance bar."""
    return Workbench(method="balanced")


def on_two_cells() -> Workbench:
    """Give a bench with a scale on each line."""
    return Workbench(method="two cells")


def with_gauge() -> Workbench:
    """Give a bench with a length gauge."""
    return Workbench(gauge=1)


def whole_set() -> Workbench:
    """Give a bench with a set of four lines on it."""
    return Workbench(plan=small_set())


BEGIN, HOLD, MARKS, COMPARE, SEW, END, SET, FAR, SCALE = (
    "Beginning",
    "Pre-stretch",
    "Marking, trapping, setting",
    "Comparing",
    "Sewing",
    "Checks and signature",
    "A whole reline",
    "Seen from afar",
    "Checking the scale",
)
STATES: tuple[State, ...] = (
    State(BEGIN, cause),
    State(BEGIN, cutting),
    State(BEGIN, disk_full),
    State(HOLD, pull_to),
    State(HOLD, too_little),
    State(HOLD, running, cue="in band"),
    State(HOLD, pre_stretch, cue="leaving band"),
    State(HOLD, broken, cue="broken"),
    State(HOLD, complete, cue="time complete"),
    State(HOLD, void),
    State(HOLD, no_reading),
    State(HOLD, unplugged),
    State(HOLD, program_fault),
    State(HOLD, by_hand, unmeasured),
    State(MARKS, trapping),
    State(MARKS, marking, cue="step done"),
    State(MARKS, not_counted, cue="not counted"),
    State(MARKS, leaving_long),
    State(MARKS, setting),
    State(COMPARE, reference_first),
    State(COMPARE, reference_kept, cue="step done"),
    State(COMPARE, unequal, cue="not counted"),
    State(COMPARE, comparing),
    State(COMPARE, long_or_short, cue="long press"),
    State(COMPARE, counting),
    State(COMPARE, confirming),
    State(COMPARE, taking_in),
    State(COMPARE, letting_out),
    State(COMPARE, balanced, on_a_bar),
    State(COMPARE, two_cells, on_two_cells),
    State(COMPARE, gauge, with_gauge),
    State(SEW, trial_tack),
    State(SEW, sewing, muted=True),
    State(END, checks),
    State(END, second_person, reserve),
    State(END, signing),
    State(END, signed),
    State(SET, set_pair, whole_set),
    State(SET, set_turned_away, whole_set),
    State(SET, set_lines, whole_set),
    State(FAR, pre_stretch, far=True, name="far-pre-stretch"),
    State(FAR, complete, far=True, name="far-complete"),
    State(FAR, void, far=True, name="far-void"),
    State(FAR, marking, far=True, name="far-marking"),
    State(FAR, not_counted, cue="not counted", far=True, name="far-not-counted"),
    State(FAR, taking_in, far=True, name="far-taking-in"),
    State(FAR, sewing, far=True, name="far-sewing"),
    State(SCALE, weighing_gallery.swinging, None, name="scale-swinging"),
    State(SCALE, weighing_gallery.steady, None, name="scale-steady"),
    State(SCALE, weighing_gallery.on_the_way_down, None, name="scale-way-down"),
    State(SCALE, weighing_gallery.found, None, name="scale-found"),
    State(SCALE, weighing_gallery.fits_no_class, None, name="scale-no-class"),
    State(SCALE, weighing_gallery.daily_agreed, None, name="scale-daily-agreed"),
    State(SCALE, weighing_gallery.daily_disagreed, None, name="scale-daily-disagreed"),
)
