"""`python -m tests.pictures [FOLDER]`: a picture of every state of the bench window and of every page.

Each is drawn in both looks and at both sizes. Without FOLDER the pictures go to docs/pictures, with the page that lays
them out. Look at each of them at full size: does anything overlap, is anything cut, does one glance tell what to do?
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import fields
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PIL import Image, ImageColor
from PyQt6.QtWidgets import QApplication

from station.bench.snapshot import Snapshot
from station.views.palette import DARK, LIGHT, LookName
from station.views.pictures import save_picture
from station.views.window import BenchWindow
from tests.station.views import pages_gallery
from tests.station.views.states_gallery import STATES, State

PICTURES = Path(__file__).parent.parent / "docs" / "pictures"
SIZES = ((1920, 1080), (1280, 800))
EVERY: tuple[tuple[LookName, tuple[int, int]], ...] = tuple(
    (look, size) for look in ("dark", "light") for size in SIZES
)
COLOURS = 256  # of a picture's palette
OWN = [getattr(look, use.name) for look in (DARK, LIGHT) for use in fields(look) if use.name != "name"]
PX_PER_M = 1920 / 0.5314  # of a 24-inch screen


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
    """Give a picture a palette: the looks' own colours as they are, and others for the edges of letters between."""
    with Image.open(path) as opened:
        drawn = opened.convert("RGB")
    others = drawn.quantize(COLOURS - len(OWN), Image.Quantize.FASTOCTREE, dither=Image.Dither.NONE).getpalette() or []
    palette = np.array([*(ImageColor.getrgb(each) for each in OWN), *np.reshape(others, (-1, 3))])
    pixels = np.asarray(drawn).astype(int) @ (1 << 16, 1 << 8, 1)  # one number each: sorted ten times as fast
    found, which = np.unique(pixels, return_inverse=True)
    colours = np.stack((found >> 16, found >> 8 & 255, found & 255), axis=-1)
    nearest = ((colours[:, None, :] - palette) ** 2).sum(axis=2).argmin(axis=1).astype(np.uint8)
    small = Image.fromarray(nearest[which].reshape(pixels.shape))
    small.putpalette(palette.astype(np.uint8).tobytes())
    small.save(path, optimize=True)


def page() -> str:
    """Give the page that lays the pictures out."""
    lines = [
        "# What the bench shows",
        "",
        "Every state of the window, and every page beside it, in both looks and at both sizes; made by "
        "`python -m tests.pictures` from a job that is worked on the tests' bench. People and canopies are invented. "
        "Click a picture for its full size.",
    ]
    for group in dict.fromkeys(state.group for state in STATES):
        lines += rows(group, ((state.told, state.key) for state in STATES if state.group == group))
    pages = pages_gallery.EVERY_PAGE
    lines += rows(
        "The pages beside the bench", (((each.__doc__ or "").strip().rstrip("."), page_key(each)) for each in pages)
    )
    return "\n".join(lines) + "\n"


def rows(group: str, told: Iterable[tuple[str, str]]) -> list[str]:
    """Give the lines of one table: what is shown, and its pictures, by their name."""
    heads = " | ".join(f"{look}, {width} x {height}" for look, (width, height) in EVERY)
    lines = ["", f"## {group}", "", f"| | {heads} |", f"|---|{'---|' * len(EVERY)}"]
    for words, key in told:
        files = [file_name(key, look, size) for look, size in EVERY]
        cells = " | ".join(f'<a href="{file}"><img src="{file}" width="240" alt="{words}"></a>' for file in files)
        lines.append(f"| {words} | {cells} |")
    return lines


def file_name(key: str, look: LookName, size: tuple[int, int]) -> str:
    """Give the name of a picture's file."""
    return f"{key}-{look}-{size[0]}.png"


def main() -> int:
    """Draw every state into FOLDER, or into docs/pictures with its page."""
    app = QApplication.instance() or QApplication([])
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else PICTURES
    folder.mkdir(parents=True, exist_ok=True)
    for state in STATES:
        snapshot = state.snapshot()
        for look, size in EVERY:
            picture(state, snapshot, look, size, folder / file_name(state.key, look, size))
            app.processEvents()
    for make in pages_gallery.EVERY_PAGE:
        for look, size in EVERY:
            path = folder / file_name(page_key(make), look, size)
            pages_gallery.draw(make, look, size, path)
            keep_small(path)
    (folder / "README.md").write_text(page(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
