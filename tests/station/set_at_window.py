"""A whole set job worked by foot through the real window, drawing as it goes: a script, so that any display can run it.

Prints how many steps were done and how many frames were drawn; leaves pictures in the folder given, if any.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE / "bench"), str(HERE.parents[1])]

from test_reline import at_set  # noqa: E402 -- the tests' own bench, found beside this script

from drivers.events import Event, PedalEdge  # noqa: E402
from station.at_window import AtWindow  # noqa: E402
from station.bench_app import application  # noqa: E402
from station.records.entries import SignedOff  # noqa: E402

DRAWN_EVERY = 40  # batches of a twentieth of a second


def work(folder: Path | None = None) -> tuple[int, int]:
    """Work the set of four lines to its signature; give the steps done and the frames drawn."""
    app = application()
    desk = at_set(2)
    waiting: list[Event] = []
    heard = desk.bench.take
    batches = frames = steps = 0
    drawing = False

    def read() -> list[Event]:
        came = list(waiting)
        waiting.clear()
        return came

    at_window = AtWindow(desk.bench, read, "light")
    window: Any = at_window.window
    window.resize(1280, 800)
    window.show()
    app.processEvents()

    def draw() -> None:
        nonlocal drawing, frames
        drawing = True
        window.frame()
        app.processEvents()
        drawing = False
        frames += 1

    def take(events: Sequence[Event]) -> list[Any]:
        nonlocal batches
        if drawing:
            return heard(events)
        waiting.extend(events)
        batches += 1
        if batches % DRAWN_EVERY == 0 or any(isinstance(each, PedalEdge) for each in events):
            draw()
        return []

    desk.bench.take = take  # type: ignore[method-assign]
    while desk.bench.step is not None:
        before = desk.bench.step.key
        desk.do_step()
        draw()
        steps += 1
        assert window.last_words == "", window.last_words
        assert desk.bench.step is None or desk.bench.step.key != before, before
        if folder is not None and steps in {20, 60}:
            window.grab().save(str(folder / f"step-{steps}.png"))
    assert isinstance(desk.entries[-1], SignedOff)
    assert window.snapshot.sentence.text == "Signed off. The record is filed."
    window.close()
    return steps, frames


if __name__ == "__main__":
    print(application().platformName(), *work(Path(sys.argv[1]) if len(sys.argv) > 1 else None))
