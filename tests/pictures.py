"""`python -m tests.pictures [FOLDER]`: pictures of the bench window at telling moments of a job, for the guide.

Each moment is reached by working a job on the tests' bench, and drawn in a look and at a size; look at each of them at
full size.
"""

from __future__ import annotations

import math
import os
import sys
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtWidgets import QApplication

from station.bench_app import AtWindow
from station.views.palette import LookName
from station.views.pictures import save_picture

sys.path.insert(0, str(Path(__file__).parent / "station" / "bench"))
from workbench import Workbench

SIZES = ((1920, 1080), (1280, 800))


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


def comparing(desk: Workbench) -> None:
    """Pull the new line as its opposite number."""
    desk.work_to("B: compare 1")
    desk.pull(10.1, 1.0)
    desk.press()
    desk.pull(10.0, 1.0)


def taking_in(desk: Workbench) -> None:
    """Find the new line long."""
    comparing(desk)
    desk.press(1.3)
    desk.press()
    for _ in range(3):
        desk.press()
    desk.wait(3.2)
    desk.press()


def sewing(desk: Workbench) -> None:
    """Arm the foot in a sewing step."""
    desk.work_to("B into A: sew")
    desk.press()
    desk.wait(2.0)
    desk.press()


def checks(desk: Workbench) -> None:
    """Look down the list of checks."""
    desk.work_to("check: line continuity")


def signing(desk: Workbench) -> None:
    """Come to the signature."""
    desk.work_to("sign")


MOMENTS: tuple[Callable[[Workbench], None], ...] = (
    pre_stretch,
    complete,
    unplugged,
    void,
    marking,
    trapping,
    leaving_long,
    comparing,
    taking_in,
    sewing,
    checks,
    signing,
)
IN_THE_GUIDE = {"pre-stretch-dark", "marking-dark", "comparing-light", "taking-in-light", "checks-dark"}


def main() -> int:
    """Draw every moment in both looks and sizes into FOLDER; without one, the guide's few into docs/pictures."""
    app = QApplication.instance() or QApplication([])
    guide = len(sys.argv) < 2
    folder = Path("docs/pictures" if guide else sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    for moment in MOMENTS:
        desk = Workbench()
        moment(desk)
        looks: tuple[LookName, ...] = ("dark", "light")
        for look in looks:
            for width, height in SIZES[:1] if guide else SIZES:
                name = f"{moment.__name__.replace('_', '-')}-{look}"
                if guide and name not in IN_THE_GUIDE:
                    continue
                window = AtWindow(desk.bench, list, look).window
                save_picture(window, folder / f"{name}{'' if guide else f'-{width}'}.png", (width, height))
                window.close()
                app.processEvents()
    return 0


if __name__ == "__main__":
    sys.exit(main())
