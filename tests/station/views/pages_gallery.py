"""Every page in telling states, both looks and sizes: `python -m tests.station.views.pages_gallery FOLDER`."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtCore import QCoreApplication
from PyQt6.QtWidgets import QApplication, QLabel, QWidget

from drivers.template import shown
from station.first_run_app import COMPARE, PRESS, SAVE, fields
from station.linework.shrinkage import Trial, estimate
from station.linework.trial_plot import plot
from station.settings import shop
from station.views.archive_page import ArchivePage, FiledJob
from station.views.first_run import FirstRunPage, Shown
from station.views.job_forms import NEW_JOB
from station.views.page import Page
from station.views.palette import LookName
from station.views.plan_page import PlanPage, plan_shelf
from station.views.reline_page import RelinePage
from station.views.scale_page import LISTEN, Known, ScalePage
from station.views.settings_page import SettingsPage
from station.views.sheet_page import NAME
from station.views.shelf_page import HOLDS, MATERIALS, ShelfPage
from station.views.start import StartPage
from station.views.trial_view import Trials
from station.views.trials_page import ShownTrial, Stock, TrialsPage

STATION = """# The bench by the window.
[station]
name = "Bench 1"

[scale]
url = "/dev/serial/by-id/usb-scale"  # the left socket
baud = 9600
format = "text"
frame = "{value} {unit}"
end = "\\r\\n"
units = { lb = "lbf" }
capacity = "100 lbf"
response = "0.1 s"
uncertainty = "0.2 lbf"
uncertainty_until = "2027-06-30"

[pedal]
kind = "contact"
url = "/dev/serial/by-id/usb-pedal"
line = "cts"
"""
JOBS = [
    FiledJob("26-0003", "Centre A and B, left 17\nTeasel 190 · T-1182 · A. Person · next: mark where B enters"),
    FiledJob("26-0002", "Rear C, right\nTeasel 190 · T-1182 · B. Person · signed off"),
    FiledJob("26-0001", "Lower control, left\nBurdock 143 · B-0077 · A. Person · signed off"),
]


def hold(folder: Path, look: LookName, scale: float) -> Page:
    """Show a hold that comes with the program."""
    return ShelfPage(look, shop.holds(folder), HOLDS, scale=scale)


def hold_wrong(folder: Path, look: LookName, scale: float) -> Page:
    """Show a hold of the shop's own, with a wrong figure."""
    page = ShelfPage(look, shop.holds(folder), HOLDS, scale=scale)
    page.form.fill({**page.form.answers(), NAME: "reserve 900", "hold.low": "47 lbf", "hold.source": "maker's sheet"})
    page.keep()
    return page


def material(folder: Path, look: LookName, scale: float) -> Page:
    """Show a material with what is assumed of it."""
    more = "No trials of it in /home/loft/trials."
    return ShelfPage(look, shop.materials(folder), MATERIALS, more=lambda _: more, scale=scale)


def plan(folder: Path, look: LookName, scale: float) -> Page:
    """Show a line plan with its drawing and marks."""
    page = PlanPage(look, plan_shelf(folder), lambda _: None, scale=scale)
    page.sheets.setCurrentIndex(1)
    return page


def plan_line(folder: Path, look: LookName, scale: float) -> Page:
    """Show a line of a plan that cannot be worked, and why."""
    page = PlanPage(look, plan_shelf(folder), lambda _: None, scale=scale)
    page.sheets.setCurrentIndex(1)
    page.parts.setCurrentRow(2)
    page.form.fill({**page.form.answers(), "line.1.link_end.at": "4 in"})
    page.work_out()
    return page


def reline(folder: Path, look: LookName, scale: float) -> Page:
    """Show the reline that comes with the program."""
    return RelinePage(look, folder, plan_shelf(folder).sheets(), lambda _: None, scale=scale)


def archive(folder: Path, look: LookName, scale: float) -> Page:
    """Show the archive after a good verification."""
    page = ArchivePage(look, "/home/loft/archive.sqlite", JOBS, folder, scale=scale)
    page.say("41 entries and 6 judged holds worked out anew. Nothing is damaged.")
    return page


def archive_at_work(folder: Path, look: LookName, scale: float) -> Page:
    """Show the archive while it is verified."""
    page = ArchivePage(look, "/home/loft/archive.sqlite", JOBS, folder, scale=scale)
    page.search.setText("teasel")
    page.work.words.setText("Verifying: 42 %")
    page.work.bar.setRange(0, 1000)
    page.work.bar.setValue(420)
    page.work.show()
    return page


def trials(_folder: Path, look: LookName, scale: float) -> Page:
    """Show the trials of one lot: some count, one is far off, one was left out, one is none."""
    made = [Trial(t * 0.0254, s * 0.0254) for t, s in ((5, 0.31), (6, 0.38), (4, 0.24), (6, 0.36), (5, 0.32), (6, 0.9))]
    words = ["5 in trapped, 5/16 in shorter", "6 in trapped, 3/8 in shorter", "4 in trapped, 1/4 in shorter"]
    words += ["6 in trapped, 3/8 in shorter", "5 in trapped, 5/16 in shorter", "6 in trapped, 29/32 in shorter"]
    rows = [
        ShownTrial(f"{n}: {each}\nA canopy end, job 26-{n:04d}, 2026-06-{n:02d}", counts=True, may_change=True)
        for n, each in enumerate(words, 1)
    ]
    out = "5 in trapped, 1/2 in shorter\nA canopy end, job 26-0007, 2026-06-07\n"
    rows.insert(1, ShownTrial(f"{out}left out by A. Person: the tape slipped while it was let down", False, True))
    rows.insert(2, ShownTrial(f"{out}no trial: the pull it was marked under was not measured", False, False))
    stock = Stock("HMPE 725, lot L-31", tuple(rows), Trials(plot(made, estimate(made))))
    return TrialsPage(look, lambda: ([stock], ""), lambda *_: "", scale)


def settings(folder: Path, look: LookName, scale: float) -> Page:
    """Show the settings as the program comes, with a place that is wrong."""
    page = SettingsPage(look, lambda _: None, file=folder / "settings.toml", scale=scale)
    page.form.fill({**page.form.answers(), "places.shop": "/home/loft/shop"})
    page.keep()
    return page


def scale(folder: Path, look: LookName, scale: float) -> Page:
    """Show the scale and pedal of a station file."""
    file = folder / "station.toml"
    file.write_text(STATION)
    known = Known("scale checked today, ±0.12 lbf", "Full check at 30 lbf of 2026-06-01: until 2027-06-01.")
    page = ScalePage(look, file, lambda _: None, known, _nothing, _none, _none, turn=lambda _: None, scale=scale)
    page.reading.setText("30.02 lbf")
    page.more.setText("/dev/serial/by-id/usb-scale is open · 412 readings · pedal up")
    return page


def no_scale(_folder: Path, look: LookName, scale: float) -> Page:
    """Show the page without a station file."""
    return ScalePage(look, None, lambda _: None, describe=_none, set_up=_none, scale=scale)


def _nothing() -> Mapping[str, str]:
    raise OSError("nothing to hear in a picture")


def _none() -> None:
    pass


PAGES: tuple[Callable[[Path, LookName, float], Page], ...] = (
    hold, hold_wrong, material, plan, plan_line, reline, archive, archive_at_work, trials, settings, scale, no_scale,
)  # fmt: skip


def first(_folder: Path, look: LookName, scale: float) -> QWidget:
    """Show the first page, with jobs to go on with."""
    jobs = [(each.job, each.words.split("\n")[0], "Teasel 190", "next: mark where B enters") for each in JOBS[:2]]
    bench = ("Daily check", "Check the scale", "Set up a scale", "Scale and pedal", "Measure a line set", "Archive")
    shop = ("Line plans", "Whole relines", "Hold specifications", "Materials", "In control?", "Settings")
    notice = "Bench 1, scale on usb-scale. Archive: archive.sqlite. Scale checked today, ±0.12 lbf."
    do, pages = ([(words, _none) for words in row] for row in (bench, shop))
    plan = Path("/home/loft/plans/centre.toml")
    more: dict[str, Any] = {"plan": plan, "notice": notice, "actions": do, "pages": pages}
    return StartPage(look, jobs, NEW_JOB, lambda _: None, lambda *_: {}, scale=scale, **more)


def first_run(_folder: Path, look: LookName, scale: float) -> QWidget:
    """Set up a scale: read, and compared with a known weight."""
    told = "The scale shows 33.07 lbf where 33.07 lbf hangs: they agree. The scale check tells how well."
    heard = [shown(b"   33.06 lb\r\n"), shown(b"   33.08 lb\r\n")] * 3
    now = Shown(
        "60 of 60 frames are read at 9600 baud.",
        heard,
        "33.07 lbf",
        told,
        "The foot closes pin 8 (CTS): it is used.",
        True,
    )
    return _first_run(look, scale, now)


def first_run_trying(_folder: Path, look: LookName, scale: float) -> QWidget:
    """Set up a scale: speeds and questions are tried, and can be stopped."""
    now = Shown(
        "Listening at 4800 baud (3 of 16) …", [shown(b"\x80\xf8\x00\x78")] * 3, "no reading", "", "", False, (2, 16)
    )
    return _first_run(look, scale, now)


def _first_run(look: LookName, scale: float, now: Shown) -> QWidget:
    actions = {words: (lambda _: {}) for words in (LISTEN, COMPARE, PRESS, SAVE)}
    found = ["/dev/serial/by-id/usb-scale", "/dev/serial/by-id/usb-pedal"]
    asked = fields(found, Path("/home/loft/station.toml"))
    page = FirstRunPage(look, asked, lambda: now, actions, _none, scale)
    said = {"weight": "15 kg", "capacity": "100 lbf", "pedal": found[1], "name": "Bench 1"} if now.may_save else {}
    page.form.fill({**page.form.answers(), **said})
    return page


EVERY_PAGE: tuple[Callable[[Path, LookName, float], QWidget], ...] = (
    first, first_run_trying, first_run, scale, no_scale, plan, plan_line, reline, hold, hold_wrong, material,
    settings, archive, archive_at_work, trials,
)  # fmt: skip


def draw(make: Callable[[Path, LookName, float], QWidget], look: LookName, size: tuple[int, int], path: Path) -> None:
    """Draw a page as it fills a screen of a size; where it names the folder of this run, an invented one is named."""
    with tempfile.TemporaryDirectory() as folder:
        page = make(Path(folder), look, min(1.0, size[0] / 1600, size[1] / 960))
        page.resize(*size)
        page.show()
        for label in page.findChildren(QLabel):
            label.setText(label.text().replace(folder, "/home/loft"))
        for _ in range(3):
            QCoreApplication.sendPostedEvents()
            QCoreApplication.processEvents()
        if isinstance(page, FirstRunPage):
            page.frame()  # what it hears is cut to the width that it has by now
        page.grab().save(str(path))
        page.close()


def main() -> int:
    """Draw every page in both looks and sizes into FOLDER."""
    app = QApplication.instance() or QApplication([])
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    looks: tuple[LookName, ...] = ("dark", "light")
    for make in EVERY_PAGE:
        for look in looks:
            for size in ((1920, 1080), (1280, 800)):
                draw(make, look, size, folder / f"{make.__name__.replace('_', '-')}-{look}-{size[0]}.png")
                app.processEvents()
    return 0


if __name__ == "__main__":
    sys.exit(main())
