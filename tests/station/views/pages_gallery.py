"""Every page in telling states, both looks and sizes: `python -m tests.station.views.pages_gallery FOLDER`."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PyQt6.QtCore import QCoreApplication
from PyQt6.QtWidgets import QApplication

from station.settings import shop
from station.views.archive_page import ArchivePage, FiledJob
from station.views.page import Page
from station.views.palette import LookName
from station.views.plan_page import PlanPage, plan_shelf
from station.views.scale_page import Known, ScalePage
from station.views.settings_page import SettingsPage
from station.views.sheet_page import NAME
from station.views.shelf_page import HOLDS, MATERIALS, ShelfPage

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
SIZES = {1.0: (1600, 960), 0.75: (1200, 720)}


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
    page = ScalePage(look, file, lambda _: None, known, _nothing, _none, _none, scale=scale)
    page.reading.setText("30.02 lbf")
    page.more.setText("/dev/serial/by-id/usb-scale is open · 412 readings · pedal up")
    return page


def no_scale(_folder: Path, look: LookName, scale: float) -> Page:
    """Show the page without a station file."""
    return ScalePage(look, None, lambda _: None, scale=scale)


def _nothing() -> Mapping[str, str]:
    raise OSError("nothing to hear in a picture")


def _none() -> None:
    pass


PAGES: tuple[Callable[[Path, LookName, float], Page], ...] = (
    hold, hold_wrong, material, plan, plan_line, archive, archive_at_work, settings, scale, no_scale,
)  # fmt: skip


def main() -> int:
    """Draw every page in both looks and sizes into FOLDER."""
    app = QApplication.instance() or QApplication([])
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    looks: tuple[LookName, ...] = ("dark", "light")
    for make in PAGES:
        for look in looks:
            for size, (width, height) in SIZES.items():
                page = make(folder, look, size)
                page.resize(width, height)
                page.show()
                QCoreApplication.sendPostedEvents()
                app.processEvents()
                page.grab().save(str(folder / f"{make.__name__.replace('_', '-')}-{look}-{width}.png"))
                page.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
