"""`python -m tests.pictures [FOLDER]`: a picture of every state of the bench window and of every page.

Each state is reached by working a job on the tests' bench, or by checking the tests' scale. Without FOLDER the pictures
go to docs/pictures, with the page that lays them out; to keep that folder small a state that is like another has two
pictures there, dark and large, light and small. Look at each of them at full size: does anything overlap, is
anything cut, does one glance tell what to do?
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PIL import Image
from PyQt6.QtWidgets import QApplication

from station.bench.commands import carry_out
from station.bench.cues import Cue
from station.bench.snapshot import Snapshot
from station.views.palette import LookName
from station.views.pictures import save_picture
from station.views.window import BenchWindow

sys.path.insert(0, str(Path(__file__).parent / "station" / "bench"))
from test_reline import small_set
from workbench import Workbench

from tests.station.views import pages_gallery, weighing_gallery

PICTURES = Path(__file__).parent.parent / "docs" / "pictures"
LOOKS: tuple[LookName, ...] = ("dark", "light")
SIZES = ((1920, 1080), (1280, 800))
EVERY: tuple[tuple[LookName, tuple[int, int]], ...] = tuple((look, size) for look in LOOKS for size in SIZES)
TWO: tuple[tuple[LookName, tuple[int, int]], ...] = (("dark", SIZES[0]), ("light", SIZES[1]))
COLOURS = 64  # of a picture's palette: enough for smooth letters
PX_PER_M = 1920 / 0.5314  # of a 24-inch screen


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


def comparing(desk: Workbench) -> None:
    """Pull the new line as its opposite number."""
    reference_first(desk)
    desk.press()
    desk.pull(10.0, 1.0)


def unequal(desk: Workbench) -> None:
    """Pull the new line less than its opposite number."""
    reference_first(desk)
    desk.press()
    desk.pull(8.1, 1.0)


def long_or_short(desk: Workbench) -> None:
    """Say that they differ."""
    comparing(desk)
    desk.press(1.3)


def counting(desk: Workbench) -> None:
    """Count sixteenths with the foot."""
    long_or_short(desk)
    desk.press()
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
    desk.press(1.3)
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
    def pictures(self) -> tuple[tuple[LookName, tuple[int, int]], ...]:
        """Give the looks and sizes that docs/pictures holds: all four of a state that is unlike every other."""
        if self.key in LIKE_NO_OTHER:
            return EVERY
        return TWO

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
LIKE_NO_OTHER = {
    "pull-to",
    "pre-stretch",
    "complete",
    "void",
    "unplugged",
    "trapping",
    "marking",
    "comparing",
    "counting",
    "taking-in",
    "sewing",
    "checks",
    "signing",
    "far-pre-stretch",
    "far-marking",
    "scale-steady",
}
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
    State(MARKS, leaving_long),
    State(MARKS, setting),
    State(COMPARE, reference_first),
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


def picture(state: State, snapshot: Snapshot, look: LookName, size: tuple[int, int], path: Path) -> None:
    """Draw one state and keep it small."""
    faults: list[BaseException] = []
    window = BenchWindow(
        look,
        lambda: snapshot,
        lambda _: None,
        on_fault=faults.append,
        px_per_m=PX_PER_M,
        far=state.far,
        muted=state.muted,
    )
    window.tones.play = lambda _: None  # no tone while pictures are made, and none missed
    window.voice.muted = True
    save_picture(window, path, size)
    if state.cue is not None:
        window.cue(state.cue)
        save_picture(window, path, size)
    window.close()
    if faults:
        raise faults[0]
    keep_small(path)


def page_key(make: Callable[..., object]) -> str:
    """Give a page's name in a file's name."""
    return f"page-{make.__name__.replace('_', '-')}"


def keep_small(path: Path) -> None:
    """Give a picture a palette."""
    with Image.open(path) as drawn:
        small = drawn.convert("RGB").quantize(COLOURS, Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    small.save(path, optimize=True)


def page(states: tuple[State, ...]) -> str:
    """Give the page that lays the pictures out."""
    lines = [
        "# What the bench shows",
        "",
        "Every state of the window, in both looks and at both sizes; made by `python -m tests.pictures` from a job "
        "that is worked on the tests' bench. People and canopies are invented. Click a picture for its full size.",
    ]
    group = ""
    for state in states:
        if state.group != group:
            group = state.group
            heads = [f"{look}, {width} x {height}" for look in LOOKS for width, height in SIZES]
            lines += ["", f"## {group}", "", f"| | {' | '.join(heads)} |", f"|---|{'---|' * len(heads)}"]
        kept = {each: f"{state.key}-{each[0]}-{each[1][0]}.png" for each in state.pictures}
        links = {
            each: f'<a href="{file}"><img src="{file}" width="240" alt="{state.told}"></a>'
            for each, file in kept.items()
        }
        cells = [links.get(each, "") for each in EVERY]
        lines.append(f"| {state.told} | {' | '.join(cells)} |")
    heads = [f"{look}, {width} x {height}" for look, (width, height) in TWO]
    lines += ["", "## The pages beside the bench", "", f"| | {' | '.join(heads)} |", f"|---|{'---|' * len(heads)}"]
    for make in pages_gallery.EVERY_PAGE:
        told = (make.__doc__ or "").strip().rstrip(".")
        files = [f"{page_key(make)}-{look}-{size[0]}.png" for look, size in TWO]
        cells = [f'<a href="{file}"><img src="{file}" width="240" alt="{told}"></a>' for file in files]
        lines.append(f"| {told} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main() -> int:
    """Draw every state into FOLDER, or into docs/pictures with its page."""
    app = QApplication.instance() or QApplication([])
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    folder.mkdir(parents=True, exist_ok=True)
    for state in STATES:
        snapshot = state.snapshot()
        for look, size in EVERY if len(sys.argv) > 1 else state.pictures:
            picture(state, snapshot, look, size, folder / f"{state.key}-{look}-{size[0]}.png")
            app.processEvents()
    for make in pages_gallery.EVERY_PAGE:
        for look, size in EVERY if len(sys.argv) > 1 else TWO:
            path = folder / f"{page_key(make)}-{look}-{size[0]}.png"
            pages_gallery.draw(make, look, size, path)
            keep_small(path)
    (folder / "README.md").write_text(page(STATES), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
