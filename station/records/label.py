"""The anchor as a code for a camera, and the label for the packing card: small paper beside the report.

The code (QR, ISO/IEC 18004) holds the anchor's sixty-four hexadecimal digits and nothing else, so that what a camera
reads can be given to `records verify --anchor` as it is.

>>> label(JobSheet.of("26-0001", []))[:5]
b'%PDF-'
"""

from __future__ import annotations

import io

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepInFrame

from station.records.job_sheet import JobSheet
from station.records.paper import INK, LABEL, SMALL, STRONG, dated, load_fonts, para, sealed_canvas
from station.records.words import NOT_RECORDED, groups, value

LABEL_SIZE = (80 * mm, 36 * mm)  # as wide as a packing card, common practice
_QUIET = 4  # modules of white around the code (ISO/IEC 18004)
_EDGE = 2.5 * mm


class AnchorCode(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """An anchor as a code, so wide with its white rim."""

    def __init__(self, anchor: str, width: float) -> None:
        super().__init__()
        self.width = self.height = width
        self._code = QrCodeWidget(anchor, barLevel="M").qr
        self._code.make()

    def wrap(self, *_: float) -> tuple[float, float]:
        """Give the room it takes."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw every dark run of every row."""
        count = self._code.getModuleCount()
        step = self.width / (count + 2 * _QUIET)
        canvas = self.canv
        canvas.saveState()
        canvas.setFillColor(INK)
        path = canvas.beginPath()
        for row in range(count):
            begin = None
            for column in range(count + 1):
                dark = column < count and self._code.isDark(row, column)
                if dark and begin is None:
                    begin = column
                elif not dark and begin is not None:
                    up = self.height - (_QUIET + row + 1) * step
                    path.rect((_QUIET + begin) * step, up, (column - begin) * step, step)
                    begin = None
        canvas.drawPath(path, stroke=0, fill=1)
        canvas.restoreState()


def label(sheet: JobSheet) -> bytes:
    """Give the label of a job for the packing card as the bytes of a PDF, the same for the same job."""
    load_fonts()
    file = io.BytesIO()
    canvas = sealed_canvas(file, LABEL_SIZE, f"Label, job {sheet.job}", dated(sheet.span[1]))
    width, height = LABEL_SIZE
    across = height - 2 * _EDGE if sheet.last_hash else 0.0
    room = width - across - 2 * _EDGE - 1 * mm
    words = [
        para(f"Line work, job {sheet.job}", STRONG),
        *(para(each, SMALL) for each in _lines(sheet)),
        para(f"entry {sheet.last_seq}: {groups(sheet.last_hash[:16]) or NOT_RECORDED} ...", LABEL),
    ]
    text = KeepInFrame(room, height - 2 * _EDGE, words, mode="shrink")
    _, tall = text.wrapOn(canvas, room, height - 2 * _EDGE)
    text.drawOn(canvas, _EDGE, height - _EDGE - tall)
    if sheet.last_hash:
        AnchorCode(sheet.last_hash, across).drawOn(canvas, width - _EDGE - across, _EDGE)
    canvas.showPage()
    canvas.save()
    return file.getvalue()


def _lines(sheet: JobSheet) -> list[str]:
    opened, signed = sheet.opened, sheet.signed_off
    canopy = opened.canopy if opened else {}
    line = ", ".join(each for each in (opened.side, opened.number) if each) if opened else ""
    return [
        f"{value(canopy.get('type'))}, serial {value(canopy.get('serial'))}",
        f"{opened.title if opened else NOT_RECORDED} ({line or NOT_RECORDED})",
        f"pre-stretch: {sheet.holds_in_words()}",
        f"{signed.at[:10]}, {value(signed.entry.by)}, {value(signed.entry.certificate)}"
        if signed
        else "NOT SIGNED OFF",
    ]
