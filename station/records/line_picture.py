"""The line plan of a job as a picture in vectors: the line as it lay on the bench, link at the left.

Drawn from the plan's text as the job was opened with it, so that the record needs no other file. A trap is a line
inside a line: solid where the record says that it was made, dashed where it does not.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Collection

from reportlab.lib.colors import HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Spacer

from station.linework.drawing import LineDrawing, layout
from station.linework.line_plan import LinePlan, PlanFault, make_plan
from station.linework.placing import (
    LOOP_HEIGHT,
    TICK_HEIGHT,
    PlacedDrawing,
    PlacedLine,
    PlacedMark,
    PlacedTrap,
    PlacedWords,
    place,
)
from station.records.entries import TrapMade
from station.records.job_sheet import JobSheet
from station.records.paper import BOLD, CARD, FONT, HEADING, INK, LINE, RULE, SOFT, STRONG, para, plain
from station.records.trial_picture import TrialPicture
from station.settings.plan import read_plan
from station.settings.reline import RelineSettings, is_reline, read_reline
from station.settings.tables import SettingsFault, Table

_UNITS = 940.0  # the drawing's width in its own units: the fewer, the larger its words on paper
_EDGE = 11.0  # of them, free at the right
_CAPTION_HEIGHT = 16.0
_GROUND = HexColor("#FFFFFF")
_LINES = tuple(HexColor(each) for each in ("#7A6A45", "#3E6A8A", "#7A4E86"))


def line_picture(sheet: JobSheet) -> Callable[[float], list[Flowable]] | None:
    """Give what draws the job's line at a width in points, or says why it cannot; None where no job was opened.

    Of a whole reline each plan is drawn once, as on the first of its lines, with the names of all that it made. There a
    trap is solid where it was made on every one of them.
    Where an allowance came from trials they are drawn too, each source below its name.
    """
    if sheet.opened is None:
        return None
    made = {each.entry.trap for each in sheet.of_kind(TrapMade)}
    try:
        top = Table(f"the plan of job {sheet.job}", "", tomllib.loads(sheet.opened.plan_toml))
        drawings = _of_set(read_reline(top), made) if is_reline(top) else [("", make_plan(read_plan(top)), made)]
    except (tomllib.TOMLDecodeError, SettingsFault, PlanFault) as fault:
        why = f"No drawing can be made: {fault}."
        return lambda _: [para(why, STRONG)]

    def drawn(width: float) -> list[Flowable]:
        story: list[Flowable] = []
        for title, plan, made in drawings:
            picture = LinePicture(layout(plan), made, width)
            story.append(KeepTogether([Spacer(0, 6), para(title), picture]) if title else picture)
        trials = {used.source: used for _, plan, _ in drawings for used in plan.trials_used}
        for source, used in trials.items():
            story.append(KeepTogether([para(f"The shortening: {source}", HEADING), TrialPicture(used, width)]))
        return story

    return drawn


def _of_set(settings: RelineSettings, made: Collection[str]) -> list[tuple[str, LinePlan, set[str]]]:
    """Give each plan of a set drawn as its first line, whose lines it made, and the traps made on every one."""
    drawings = []
    for name in settings.plans:
        lines = [line for line in settings.lines if line.plan == name]
        plans = [make_plan(settings.plan_of(line)) for line in lines]
        everywhere = {
            first.trap
            for first, *others in zip(*(plan.steps for plan in plans), strict=True)
            if all(each.trap in made for each in (first, *others))
        }
        title = f"{name}: {', '.join(line.name for line in lines)}; drawn as {lines[0].name}"
        drawings.append((title, plans[0], everywhere))
    return drawings


class LinePicture(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
    """A line drawing, `width` points wide and as high as it needs."""

    def __init__(self, drawing: LineDrawing, made: Collection[str], width: float) -> None:
        super().__init__()
        self.placed: PlacedDrawing = place(drawing, _UNITS, _EDGE)
        self.made = made
        scale = "To scale" if drawing.to_scale else "Not to scale: a length is not known"
        self.caption = f"From the line plan. {scale}. A trap's inside is solid where it was made, dashed where not."
        self.scale = width / _UNITS
        self.width = width
        self.height = self.placed.height * self.scale + _CAPTION_HEIGHT

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Give the size, which does not depend on the room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw at the origin of the flowable's own canvas."""
        canvas: Canvas = self.canv
        canvas.saveState()
        canvas.setFont(FONT, 7.2)
        canvas.setFillColor(SOFT)
        canvas.drawString(0, 3, self.caption)
        canvas.translate(0, _CAPTION_HEIGHT)
        canvas.scale(self.scale, self.scale)
        canvas.setLineCap(1)
        canvas.setLineJoin(1)
        placed = self.placed
        for line in placed.lines:
            self._ends(canvas, line)
        for line in sorted(placed.lines, key=lambda each: -each.line.depth):
            self._line(canvas, line)
        for trap in placed.traps:
            self._trap(canvas, trap)
        for line in placed.lines:
            for mark in line.marks:
                self._mark(canvas, mark)
        for trap in placed.traps:
            for mark in trap.marks:
                self._mark(canvas, mark)
            if trap.number is not None:
                self._words(canvas, trap.number, ring=True)
        for line in placed.lines:
            self._words(canvas, line.name)
        canvas.restoreState()

    def _y(self, y: float) -> float:
        return self.placed.height - y

    def _ends(self, canvas: Canvas, line: PlacedLine) -> None:
        y = self._y(line.y)
        canvas.setStrokeColor(SOFT)
        canvas.setLineWidth(4)
        canvas.line(line.end_x + 4, y - 18, line.end_x + 4, y + 18)
        if line.line.joins is None:
            canvas.setLineWidth(2)
            canvas.roundRect(line.start_x - 15, y - 17, 20, 34, 7)
            canvas.setFillColor(SOFT)
            canvas.setFont(FONT, 13)
            canvas.drawRightString(line.start_x - 24, y - 4.5, "link")

    def _line(self, canvas: Canvas, placed: PlacedLine) -> None:
        line = placed.line
        y = self._y(placed.y)
        per_fraction = (placed.end_x - placed.start_x) / (line.end - line.start)
        begin, end = placed.start_x + line.link_loop * per_fraction, placed.end_x - line.canopy_loop * per_fraction
        canvas.setStrokeColor(_colour(line.depth))
        canvas.setLineWidth(4)
        path = canvas.beginPath()
        if line.joins is None:
            path.moveTo(begin, y)
        else:
            start_y, half = self._y(placed.start_y), (placed.start_x + placed.lane_x) / 2
            path.moveTo(placed.start_x, start_y)
            path.curveTo(half, start_y, half, y, placed.lane_x, y)
        for low, high in placed.loops:
            path.lineTo(low, y)
            path.moveTo(high, y)
        if line.broken_at is not None:
            low, high = (placed.start_x + (at - line.start) * per_fraction for at in line.broken_at)
            middle = max((low + high) / 2, placed.lane_x + 6)
            path.lineTo(middle - 6, y)
            path.moveTo(middle + 6, y)
        path.lineTo(end, y)
        canvas.drawPath(path)
        canvas.setLineWidth(2)
        if line.broken_at is not None:
            for at in (middle - 6, middle + 6):
                canvas.line(at + 4, y + 10, at - 4, y - 10)
        canvas.setLineWidth(3)
        for low, high in ((placed.start_x, begin), *placed.loops, (end, placed.end_x)):
            if high > low:
                canvas.ellipse(low, y - LOOP_HEIGHT / 2, high, y + LOOP_HEIGHT / 2)
        if line.knot:
            canvas.setFillColor(_GROUND)
            for offset in (14, 20):
                canvas.circle(placed.end_x + offset, y, 5.5, fill=1)

    def _trap(self, canvas: Canvas, placed: PlacedTrap) -> None:
        box = placed.box
        y = self._y(box.y + box.height)
        canvas.setFillColor(_GROUND)
        canvas.setStrokeColor(_colour(placed.host_depth))
        canvas.setLineWidth(2)
        canvas.roundRect(box.x, y, box.width, box.height, min(box.height, box.width) / 2, fill=1)
        inset = min(7.0, box.width / 4)
        canvas.setStrokeColor(_colour(placed.guest_depth))
        canvas.setLineWidth(4)
        canvas.setLineCap(0)
        canvas.setDash([] if placed.trap.name in self.made else [4, 4])
        middle = y + box.height / 2
        canvas.line(box.x + inset, middle, box.x + box.width - inset, middle)
        canvas.setDash([])
        canvas.setLineCap(1)

    def _mark(self, canvas: Canvas, mark: PlacedMark) -> None:
        half = TICK_HEIGHT / 2
        canvas.setStrokeColor(LINE if mark.words.tone == "act" else SOFT)
        canvas.setLineWidth(2.5 if mark.words.bold else 1.5)
        canvas.line(mark.x, self._y(mark.y - half), mark.x, self._y(mark.y + half))
        canvas.setLineWidth(0.8)
        canvas.line(mark.x, self._y(mark.y + half), mark.x, self._y(mark.leader_to_y))
        self._words(canvas, mark.words)

    def _words(self, canvas: Canvas, words: PlacedWords, ring: bool = False) -> None:
        box = words.box
        if ring:
            canvas.setFillColor(CARD)
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(1.2)
            low = self._y(box.y + box.height)
            canvas.roundRect(box.x, low, box.width, box.height, box.height / 2, fill=1)
        colour = {"ink": INK, "soft": SOFT, "act": LINE}[words.tone]
        canvas.setFillColor(colour if words.depth is None else _colour(words.depth))
        canvas.setFont(BOLD if words.bold else FONT, words.size)
        row_height = box.height / len(words.rows)
        for row, text in enumerate(words.rows):
            y = self._y(box.y + row_height * (row + 0.5) + words.size * 0.36)
            draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
            x = {"start": box.x, "middle": box.x + box.width / 2, "end": box.x + box.width}[words.anchor]
            draw[words.anchor](x, y, plain(text))


def _colour(depth: int) -> HexColor:
    return _LINES[depth] if depth < 1 else _LINES[1 + (depth - 1) % (len(_LINES) - 1)]
