"""The plan as a sheet to hang by the bench: one SVG picture that needs nothing beside itself.

The drawing to scale, the order of work with every mark, and the lines with their cut lengths. A trap is a line inside
a line: dashed while it is not yet made, solid once it is. Whatever is said by colour is also said by shape or word.

>>> from station.linework.drawing import layout
>>> from station.linework.line_plan import make_plan
>>> from station.settings.plan import CanopyEnd, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
>>> main = LineSettings("A & co", LinkEnd(0.04, 0.16), CanopyEnd(0.2), 4.0)
>>> plan = make_plan(PlanSettings("a.toml", "<demo>", 44.5, 0.0127, (main,), shrinkage=ShrinkageSettings(0.06, 0.01)))
>>> picture = svg(layout(plan), plan)
>>> picture.startswith("<svg "), "&lt;demo&gt;" in picture, "A &amp; co" in picture
(True, True, True)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from station.linework.drawing import LineDrawing
from station.linework.line_plan import LinePlan, Step
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
from station.linework.plan_words import (
    CAUTION,
    COMES_FIRST,
    MILK,
    equal_pull_words,
    first_try_words,
    legs_words,
    plain_marks_words,
    source_words,
    tack_words,
)
from station.linework.svg_page import EDGE, SMALL_SIZE, WIDTH, Look, Page, wrapped
from station.units import IMPERIAL, LengthSystem, Said

_BARS_M: Mapping[LengthSystem, tuple[float, ...]] = {  # what the scale's bar may stand for
    "imperial": tuple(0.0254 * inches for inches in (1, 3, 6, 12, 24, 60, 120, 240, 600, 1200, 2400, 6000)),
    "metric": (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0),
}


def svg(
    drawing: LineDrawing,
    plan: LinePlan | None = None,
    *,
    look: Look = "light",
    mirror: bool = False,
    made: Iterable[str] = (),
) -> str:
    """Draw a plan as SVG: the drawing alone or, with its `plan`, the whole sheet.

    `made` names the traps already made. `mirror` puts the link at the right.
    """
    page = Page(look)
    if plan is not None:
        _heading(page, plan)
    _drawing(page, drawing, frozenset(made), mirror, plan.said if plan else IMPERIAL)
    if plan is not None:
        _order_of_work(page, plan)
        _lines(page, plan)
        _last_words(page, plan)
    return page.written(drawing.name, "Line plan as it lies on the bench, link to canopy")


def _heading(page: Page, plan: LinePlan) -> None:
    settings = plan.settings
    page.heading(
        settings.name,
        f"matched to the {settings.reference}  ·  pull {plan.said.force(settings.pull_n)} while marking and comparing  "
        f"·  tolerance {plan.said.length(settings.tolerance_m)}",
    )


def _drawing(page: Page, drawing: LineDrawing, made: frozenset[str], mirror: bool, said: Said) -> None:
    placed = place(drawing, WIDTH, EDGE)
    scale = "to scale" if drawing.to_scale else "not to scale: a broken line has no length given"
    toward = "toward the canopy"
    if mirror:
        page.text(WIDTH - EDGE, page.y + 20, f"as it lies on the bench; {scale}", 15, page.colours.soft, "end")
        page.text(EDGE + 34, page.y + 20, toward, 15, page.colours.soft)
    else:
        page.text(EDGE, page.y + 20, f"as it lies on the bench; {scale}", 15, page.colours.soft)
        page.text(WIDTH - EDGE - 34, page.y + 20, toward, 15, page.colours.soft, "end")
    tip = EDGE if mirror else WIDTH - EDGE
    sign = 1 if mirror else -1
    page.stroke(f"M{tip + sign * 26} {page.y + 15:.1f}H{tip + sign * 8}", page.colours.soft, 2)
    page.parts.append(f'<path d="M{tip} {page.y + 15:.1f}l{sign * 10} -5v10z" fill="{page.colours.soft}"/>')
    page.y += 30
    _Bench(page, placed, page.y, mirror, made).draw()
    page.y += placed.height
    if drawing.to_scale:
        _scale_bar(page, placed, mirror, said)
    page.y += 14


def _scale_bar(page: Page, placed: PlacedDrawing, mirror: bool, said: Said) -> None:
    for metres in _BARS_M[said.system]:
        length = metres * placed.scale
        if length >= 70:
            break
    words = said.length(metres)
    left = EDGE if mirror else WIDTH - EDGE - length
    page.y += 8
    page.stroke(f"M{left:.2f} {page.y - 5:.1f}v10m0 -5h{length:.2f}m0 -5v10", page.colours.soft, 2, cap="butt")
    if mirror:
        page.text(left + length + 10, page.y + 5, words, 14, page.colours.soft)
    else:
        page.text(left - 10, page.y + 5, words, 14, page.colours.soft, "end")
    page.y += 12


def _order_of_work(page: Page, plan: LinePlan) -> None:
    reference = plan.settings.reference
    page.table(
        "Order of work",
        (
            "",
            "trap",
            "how deep",
            "mark the entry",
            "mark the end of the trap",
            "from the free end",
            "shortens by",
            "sew",
        ),
        [_step_cells(number, step, plan.said) for number, step in enumerate(plan.steps, 1)],
        names=1,
    )
    page.text(
        EDGE,
        page.y + 6,
        f"past: past the {reference}'s, toward the canopy; level: with it; at: from the line's link end or joint.",
        SMALL_SIZE,
        page.colours.soft,
    )
    page.y += 26


def _lines(page: Page, plan: LinePlan) -> None:
    said = plan.said
    tolerance = said.length(plan.settings.tolerance_m)
    rows = []
    for line in plan.lines:
        pulls = "not known" if line.equal_pull_n is None else equal_pull_words(plan, line.equal_pull_n)
        rows.append(
            (
                (line.name,),
                ("no length given" if line.cut_length_m is None else said.length(line.cut_length_m),),
                (said.length(line.cut_longer_than_old_m),),
                (said.length(line.leave_long_m),),
                (pulls,),
                (first_try_words(line),),
            )
        )
    heads = (
        "line",
        "cut",
        "longer than the old one",
        "leave long, then trap",
        "pulls",
        f"within {tolerance} at the first try",
    )
    page.table("Lines", heads, rows, names=0)


def _last_words(page: Page, plan: LinePlan) -> None:
    page.y += 10
    said = [
        *(f"Cut {leg}." for line in plan.lines for leg in legs_words(line, plan.said.length)),
        *(
            f"With {line.name}'s closing mark, mark {mark}."
            for line in plan.lines
            for mark in plain_marks_words(plan, line, plan.said.length)
        ),
        source_words(plan),
        *(f"Mind: {warning}." for warning in plan.warnings),
        MILK,
        CAUTION,
        COMES_FIRST,
    ]
    for sentence in said:
        for row in wrapped(sentence, 15.0, WIDTH - 2 * EDGE):
            page.text(EDGE, page.y + 6, row, 15, page.colours.ink)
            page.y += 21
        page.y += 4


class _Bench:
    """The drawing of the lines, on a page, with its top at `top`."""

    def __init__(self, page: Page, placed: PlacedDrawing, top: float, mirror: bool, made: frozenset[str]) -> None:
        self.page, self.placed, self.top, self.mirror, self.made = page, placed, top, mirror, made

    def x(self, x: float) -> float:
        return self.placed.width - x if self.mirror else x

    def draw(self) -> None:
        for line in self.placed.lines:
            self._attachment(line)
            if line.line.joins is None:
                self._link(line)
        for line in sorted(self.placed.lines, key=lambda each: -each.line.depth):
            self._line(line)
        for trap in self.placed.traps:
            self._trap(trap)
        for line in self.placed.lines:
            for mark in line.marks:
                self._mark(mark)
        for trap in self.placed.traps:
            for mark in trap.marks:
                self._mark(mark)
            if trap.number is not None:
                self._words(trap.number, ring=True)
        for line in self.placed.lines:
            self._words(line.name)

    def _colour(self, depth: int) -> str:
        lines = self.page.colours.lines
        return lines[depth] if depth < 1 else lines[1 + (depth - 1) % (len(lines) - 1)]

    def _link(self, line: PlacedLine) -> None:
        y = self.top + line.y
        left, right = sorted((self.x(line.start_x - 15), self.x(line.start_x + 5)))
        self.page.rounded(left, y - 17, right - left, 34, 7, "none", self.page.colours.soft)
        self.page.text(
            self.x(line.start_x - 24), y + 5, "link", 15, self.page.colours.soft, "start" if self.mirror else "end"
        )

    def _attachment(self, line: PlacedLine) -> None:
        # Beside the bearing point, not over it: a mark may stand there.
        x, y = self.x(line.end_x + 4), self.top + line.y
        self.page.stroke(f"M{x:.2f} {y - 20:.2f}v40", self.page.colours.soft, 5)

    def _line(self, placed: PlacedLine) -> None:
        colour = self._colour(placed.line.depth)
        y, start_y = self.top + placed.y, self.top + placed.start_y
        per_fraction = (placed.end_x - placed.start_x) / (placed.line.end - placed.line.start)
        link_loop, canopy_loop = placed.line.link_loop * per_fraction, placed.line.canopy_loop * per_fraction
        begin, end = placed.start_x + link_loop, placed.end_x - canopy_loop
        open_at = "".join(f"H{self.x(low):.2f}M{self.x(high):.2f} {y:.2f}" for low, high in placed.loops)
        if placed.line.joins is None:
            path = f"M{self.x(begin):.2f} {y:.2f}"
        else:
            half = (placed.start_x + placed.lane_x) / 2
            path = (
                f"M{self.x(placed.start_x):.2f} {start_y:.2f}C{self.x(half):.2f} {start_y:.2f} {self.x(half):.2f} "
                f"{y:.2f} {self.x(placed.lane_x):.2f} {y:.2f}"
            )
        path += open_at
        if placed.line.broken_at is None:
            path += f"H{self.x(end):.2f}"
        else:
            low, high = (placed.start_x + (at - placed.line.start) * per_fraction for at in placed.line.broken_at)
            middle = max((low + high) / 2, placed.lane_x + 6)
            path += f"H{self.x(middle - 6):.2f}M{self.x(middle + 6):.2f} {y:.2f}H{self.x(end):.2f}"
            for at in (middle - 6, middle + 6):
                self.page.stroke(f"M{self.x(at + 4):.2f} {y - 10:.2f}L{self.x(at - 4):.2f} {y + 10:.2f}", colour, 2)
        self.page.stroke(path, colour, 5)
        for low, high in ((placed.start_x, begin), *placed.loops, (end, placed.end_x)):
            if high > low:
                self._loop(low, high, y, colour)
        if placed.line.knot:
            self._knot(placed.end_x, y, colour)

    def _loop(self, low: float, high: float, y: float, colour: str) -> None:
        middle = self.x((low + high) / 2)
        self.page.parts.append(
            f'<ellipse cx="{middle:.2f}" cy="{y:.2f}" rx="{(high - low) / 2:.2f}" ry="{LOOP_HEIGHT / 2:.1f}" '
            f'fill="none" stroke="{colour}" stroke-width="4"/>'
        )

    def _knot(self, x: float, y: float, colour: str) -> None:
        ground = self.page.colours.ground
        for offset in (14.0, 20.0):
            self.page.parts.append(
                f'<circle cx="{self.x(x + offset):.2f}" cy="{y:.2f}" r="5.5" fill="{ground}" stroke="{colour}" '
                'stroke-width="3"/>'
            )

    def _trap(self, placed: PlacedTrap) -> None:
        box = placed.box
        y = self.top + box.y
        left = min(self.x(box.x), self.x(box.x + box.width))
        host, guest = self._colour(placed.host_depth), self._colour(placed.guest_depth)
        self.page.rounded(left, y, box.width, box.height, box.height / 2, self.page.colours.ground, host)
        inset = min(7.0, box.width / 4)
        dashes = "" if placed.trap.name in self.made else "5 5"
        low, high = (left + inset, left + box.width - inset)
        if (placed.trap.entry == placed.trap.end) != self.mirror:
            low, high = high, low  # dashes run from the entry inward
        self.page.stroke(f"M{low:.2f} {y + box.height / 2:.2f}H{high:.2f}", guest, 4, dashes, cap="butt")

    def _mark(self, mark: PlacedMark) -> None:
        x, y = self.x(mark.x), self.top + mark.y
        colour = self.page.colours.act if mark.words.tone == "act" else self.page.colours.soft
        half = TICK_HEIGHT / 2
        self.page.stroke(f"M{x:.2f} {y - half:.2f}V{y + half:.2f}", colour, 3 if mark.words.bold else 2, cap="butt")
        self.page.stroke(f"M{x:.2f} {y + half:.2f}V{self.top + mark.leader_to_y:.2f}", colour, 1, cap="butt")
        self._words(mark.words)

    def _words(self, words: PlacedWords, ring: bool = False) -> None:
        colours = self.page.colours
        box = words.box
        left = min(self.x(box.x), self.x(box.x + box.width))
        top = self.top + box.y
        colour = {"ink": colours.ink, "soft": colours.soft, "act": colours.act}[words.tone]
        if words.depth is not None:
            colour = self._colour(words.depth)
        if ring:
            self.page.parts.append(
                f'<rect x="{left:.2f}" y="{top:.2f}" width="{box.width:.2f}" height="{box.height:.2f}" '
                f'rx="{box.height / 2:.2f}" fill="{colours.card}" stroke="{colours.rule}" stroke-width="1.5"/>'
            )
        anchor = words.anchor
        if self.mirror and anchor != "middle":
            anchor = "start" if anchor == "end" else "end"
        at = {"start": left, "middle": left + box.width / 2, "end": left + box.width}[anchor]
        row_height = box.height / len(words.rows)
        for row, text in enumerate(words.rows):
            baseline = top + row_height * row + row_height / 2 + words.size * 0.36
            self.page.text(at, baseline, text, words.size, colour, anchor, words.bold)


def _step_cells(number: int, step: Step, said: Said) -> tuple[tuple[str, ...], ...]:
    entry, end = step.marks

    def placed(offset_m: float, from_link_end_m: float | None) -> tuple[str, ...]:
        past = f"{said.length(offset_m)} past" if offset_m else "level"
        return (past,) if from_link_end_m is None else (past, f"at {said.length(from_link_end_m)}")

    trap, loop_entry = step.running_end_marks_m
    free_end = said.length(trap) if loop_entry is None else f"{said.length(trap)}, {said.length(loop_entry)}"
    shortens: tuple[str, ...] = (said.length(step.shortening_m),)
    if step.shortening_95_m is not None and step.shortening_95_m[0] != step.shortening_95_m[1]:
        shortens += (" to ".join(said.length(each) for each in step.shortening_95_m),)
    sew: tuple[str, ...] = ("",) if step.sewing is None else tack_words(step.sewing, said.length)
    return (
        (str(number),),
        (step.trap,),
        (said.length(step.trap_m),),
        placed(entry.offset_m, entry.from_link_end_m),
        placed(end.offset_m, end.from_link_end_m),
        (free_end,),
        shortens,
        sew,
    )
