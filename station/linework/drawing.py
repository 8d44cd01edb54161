"""The plan as it lies on the bench, to scale: link at the left, canopy at the right, cascades branching in lanes.

`layout` gives positions along the bench as fractions of its length, so that whoever draws it may choose the size. A
main line lies in the lowest lane of its tree. What joins it highest lies nearest above it, with all it carries, and
what joins lower lies further out: so no line that rises to its lane crosses another.

Positions are finished ones: a mark is drawn where it ends up, and its words say how far past the opposite number's it
is made. A loop in mid-line stands open between its two traps. Where a length is not known the line is drawn with a
break, and the drawing is not to scale.

>>> from station.linework.line_plan import make_plan
>>> from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
>>> main = LineSettings("A", LinkEnd(0.04, 0.16), CanopyEnd(0.2), 4.0)
>>> branch = LineSettings("B", Joint("A", 2.0, 0.2), CanopyEnd(0.2), 1.0)
>>> plan = PlanSettings("a.toml", "demo", 44.5, 0.0127, (main, branch), shrinkage=ShrinkageSettings(0.06, 0.01))
>>> drawing = layout(make_plan(plan))
>>> [(line.name, line.lane, line.start, line.end) for line in drawing.lines]
[('A', 0, 0.0, 1.0), ('B', 1, 0.5, 0.75)]
>>> trap = drawing.traps[1]
>>> trap.name, trap.number, round(trap.start, 6), trap.end, [(mark.at, mark.words) for mark in trap.marks]
('B into A', 2, 0.45, 0.5, [(0.5, ('2 B enters', '1/2 in past')), (0.45, ('2 ends', 'level'))])
"""

from __future__ import annotations

from dataclasses import dataclass

from station.linework.line_plan import LinePlan, Mark, Step
from station.linework.traps import End
from station.units import Said

# How much of an unknown length is drawn between the highest thing known on a line and its canopy end.
_UNKNOWN_SHARE = 0.35
_SHORTEST_UNKNOWN_M = 0.5
_LONGEST_NAME_IN_WORDS = 12


@dataclass(frozen=True)
class DrawnMark:
    """A mark: where it ends up along the bench, and its words in two rows, the number of a trap's first."""

    name: str
    at: float
    words: tuple[str, str]


@dataclass(frozen=True)
class DrawnTrap:
    """A trap as an interval of its host. `number` is its place in the order of work, from 1."""

    name: str
    number: int
    end_kind: End
    host: str
    guest: str
    toward_canopy: bool
    start: float
    end: float
    marks: tuple[DrawnMark, DrawnMark]

    @property
    def entry(self) -> float:
        """Give where the guest enters."""
        return self.start if self.toward_canopy else self.end


@dataclass(frozen=True)
class DrawnLine:
    """A line from `start` to `end` along the bench, in its lane; lanes count from 0, upward within a tree.

    `depth` is 0 for a main line and grows with each joint. `link_loop` and `canopy_loop` are the loops' heights, 0
    where there is none; `loops` are the stretches of the loops in mid-line, from the link outward, and `marks` the
    plain marks. A line whose length is not known is `broken`, between `broken_at`'s two fractions.
    """

    name: str
    joins: str | None
    tree: int
    lane: int
    depth: int
    start: float
    end: float
    link_loop: float
    canopy_loop: float
    knot: bool
    length: str | None
    broken_at: tuple[float, float] | None
    loops: tuple[tuple[float, float], ...]
    marks: tuple[DrawnMark, ...]


@dataclass(frozen=True)
class LineDrawing:
    """A plan as it lies on the bench; every position is a fraction of `length_m`. `lanes` counts all trees' lanes."""

    name: str
    lines: tuple[DrawnLine, ...]
    traps: tuple[DrawnTrap, ...]
    lanes: int
    length_m: float
    to_scale: bool

    def line(self, name: str) -> DrawnLine:
        """Give a line by its name."""
        return next(line for line in self.lines if line.name == name)

    def on_host(self, name: str) -> list[DrawnTrap]:
        """Give the traps on a line, from the link outward."""
        return sorted((trap for trap in self.traps if trap.host == name), key=lambda trap: trap.start)


def layout(plan: LinePlan) -> LineDrawing:
    """Lay a plan out along the bench."""
    lines = {line.name: line for line in plan.lines}
    lower = {step.guest: step for step in plan.steps if step.end in {"link end", "joint"}}
    canopy = {step.guest: step for step in plan.steps if step.end == "canopy end"}
    carried: dict[str, list[str]] = {name: [] for name in lines}
    for line in plan.lines:
        if line.joins is not None:
            carried[line.joins].append(line.name)
    known_m = _known_m(plan)
    lengths_m = {
        name: line.length_m if line.length_m is not None else _drawn_length_m(known_m[name], canopy[name])
        for name, line in lines.items()
    }
    loops_m = {
        line.name: sorted((each.at_m, each.at_m + each.loop_m) for each in line.loops) for line in plan.settings.lines
    }
    starts_m: dict[str, float] = {}
    places: list[tuple[str, int, int]] = []
    mains = [line.name for line in plan.lines if line.joins is None]
    for tree, main in enumerate(mains):
        starts_m[main] = 0.0
        waiting = [(main, 0)]
        while waiting:
            name, depth = waiting.pop()
            places.append((name, tree, depth))
            # The last one pushed comes next, in the nearest lane: push the lowest joint first.
            for branch in sorted(carried[name], key=lambda each: _height_m(lower[each])):
                starts_m[branch] = starts_m[name] + _height_m(lower[branch])
                waiting.append((branch, depth + 1))
    bench_m = max(starts_m[name] + lengths_m[name] for name in lines)
    drawn: list[DrawnLine] = []
    for lane, (name, tree, depth) in enumerate(places):
        line, own = lines[name], lower[name]
        start_m, end_m = starts_m[name], starts_m[name] + lengths_m[name]
        top_m = canopy[name].loop_m + canopy[name].trap_m
        drawn.append(
            DrawnLine(
                name=name,
                joins=line.joins,
                tree=tree,
                lane=lane,
                depth=depth,
                start=start_m / bench_m,
                end=end_m / bench_m,
                link_loop=own.loop_m / bench_m,
                canopy_loop=canopy[name].loop_m / bench_m,
                knot=canopy[name].knot_m > 0,
                length=None if line.length_m is None else plan.said.length(line.length_m),
                broken_at=None
                if line.length_m is not None
                else ((start_m + known_m[name]) / bench_m, (end_m - top_m) / bench_m),
                loops=tuple(((start_m + low) / bench_m, (start_m + high) / bench_m) for low, high in loops_m[name]),
                marks=tuple(
                    DrawnMark(mark.name, (start_m + (mark.finished_m or 0.0)) / bench_m, _plain_words(mark, plan.said))
                    for mark in line.marks
                ),
            )
        )
    traps = tuple(
        _trap(number, step, starts_m[step.host], lengths_m[step.host], bench_m, plan.said)
        for number, step in enumerate(plan.steps, 1)
    )
    to_scale = all(line.length_m is not None for line in plan.lines)
    return LineDrawing(plan.settings.name, tuple(drawn), traps, len(drawn), bench_m, to_scale)


def _height_m(step: Step) -> float:
    """Give where a joint's guest enters its host."""
    return step.covers_m[1] if step.covers_m is not None else 0.0


def _known_m(plan: LinePlan) -> dict[str, float]:
    """Give how far up each line something is known to be: a trap, or a plain mark."""
    known_m = {line.name: max((mark.finished_m or 0.0 for mark in line.marks), default=0.0) for line in plan.lines}
    for step in plan.steps:
        if step.covers_m is not None:
            known_m[step.host] = max(known_m[step.host], step.covers_m[1])
    return known_m


def _drawn_length_m(known_m: float, canopy: Step) -> float:
    """Give a length to draw for a line whose own is not known."""
    top_m = canopy.loop_m + canopy.trap_m
    return known_m + max(_UNKNOWN_SHARE * (known_m + top_m), _SHORTEST_UNKNOWN_M) + top_m


def _trap(number: int, step: Step, start_m: float, host_length_m: float, bench_m: float, said: Said) -> DrawnTrap:
    if step.covers_m is not None:
        low_m, high_m = step.covers_m
    else:
        high_m = host_length_m - step.loop_m
        low_m = high_m - step.trap_m
    low, high = (start_m + low_m) / bench_m, (start_m + high_m) / bench_m
    entry, end = step.marks
    places = (low, high) if step.toward_canopy else (high, low)
    return DrawnTrap(
        name=step.trap,
        number=number,
        end_kind=step.end,
        host=step.host,
        guest=step.guest,
        toward_canopy=step.toward_canopy,
        start=low,
        end=high,
        marks=(
            DrawnMark(entry.name, places[0], (f"{number} {_enters(step)}", _past(entry, said))),
            DrawnMark(end.name, places[1], (f"{number} ends", _past(end, said))),
        ),
    )


def _enters(step: Step) -> str:
    return f"{short(step.guest, _LONGEST_NAME_IN_WORDS)} enters" if step.end == "joint" else "entry"


def _plain_words(mark: Mark, said: Said) -> tuple[str, str]:
    return short(mark.name, _LONGEST_NAME_IN_WORDS), _past(mark, said)


def _past(mark: Mark, said: Said) -> str:
    return f"{said.length(mark.offset_m)} past" if mark.offset_m else "level"


def short(text: str, longest: int) -> str:
    """Give a text cut to `longest` characters, the cut shown.

    >>> short("centre A", 12), short("outermost stabiliser", 12)
    ('centre A', 'outermost s…')
    """
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip()}…"
