"""The control charts of an archive at their window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from station.faults import is_fault
from station.in_control import CONDITIONS, TITLES, By, Of, chart_picture, charts, verdict_words
from station.linework.set_picture import Picture
from station.records.archive import Archive
from station.units import LengthSystem
from station.views.control_view import ControlPage
from station.views.palette import LookName


def control_page(
    archive: Archive, look: LookName, system: LengthSystem = "imperial", scale: float = 1.0
) -> ControlPage:
    """Give the page that charts an open archive's figures."""

    def draw(what: str, by: str) -> tuple[Sequence[tuple[Picture, str]], str]:
        try:
            found, unread = charts(archive, cast(Of, what), cast(By, by) if by else None)
        except Exception as fault:
            if not is_fault(fault):
                raise
            return [], str(fault)
        said = [f"Not read: {'; '.join(unread)}."] if unread else []
        said += [] if found else [f"Nothing here to chart: no {what.replace('-', ' ')} are filed yet."]
        return [(chart_picture(each, system), verdict_words(each)) for each in found], " ".join(said)

    return ControlPage(look, TITLES, CONDITIONS, draw, scale)
