"""Where everything of a line drawing goes on a canvas, so that nothing overlaps: lanes, traps, marks, words.

A canvas has its zero at the top left; one unit is one pixel of a picture 1200 wide. The rules of placing:

- a line rises to its lane within the free stretch above its joint, and before its own first trap;
- the words of a mark stand below its lane, right of the mark or, where nothing else of that lane stands there, left of
  it. Marks are placed from the canopy inward: each leader then passes left of all words placed so far, so a place is
  always found, however many marks crowd together, one tier further down;
- numbers of traps and names of lines stand above their lane, in the first tier that is free; a number that finds no
  room near its trap is left out, for its marks' words begin with it; a name without room stands past the canopy end;
- lanes are as far apart as their words need.

>>> Box(0, 0, 10, 10).overlaps(Box(10, 0, 5, 5)), Box(0, 0, 10, 10).overlaps(Box(9, 9, 5, 5))
(False, True)
>>> text_width("A", 20) < text_width("AB", 20) < text_width("AB", 20, bold=True)
True
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import Literal

from station.linework.drawing import DrawnLine, DrawnMark, DrawnTrap, LineDrawing, short

Anchor = Literal["start", "middle", "end"]
Tone = Literal["ink", "soft", "act"]

MARK_SIZE, NAME_SIZE, NUMBER_SIZE = 13.0, 17.0, 14.0
TRAP_HEIGHT, TICK_HEIGHT, LOOP_HEIGHT = 20.0, 38.0, 18.0
_ROW = 16.0
_BELOW_LANE, _TIER_BELOW = 26.0, 2 * _ROW + 8.0
_ABOVE_LANE, _TIER_ABOVE = 22.0, 27.0
_TIERS_ABOVE = 3
_LONGEST_RISER = 84.0
_CLEAR = 5.0
_NAME_HEIGHT = 22.0
_NEAR_ITS_TRAP = 26.0
_BESIDE_ATTACHMENT, _BESIDE_KNOT = 14.0, 34.0
_ENTRY = "entry"
_LEAST_MARGIN = 92.0


def _widths(groups: dict[str, float], other: float, beyond: float = 1.1) -> tuple[dict[str, float], float, float]:
    return {letter: width for letters, width in groups.items() for letter in letters}, other, beyond


# Widths of letters over the size of the type: the wider of B612 and DejaVu Sans, rounded up.
_REGULAR = _widths(
    {
        "ijl'I|": 0.36,
        " ,.:;": 0.36,
        "ftr()-J": 0.46,
        "[]": 0.5,
        "s": 0.53,
        "/cz": 0.56,
        "aekvxy": 0.62,
        "0123456789bdghnopqu": 0.66,
        "wNHU#&<=>^~": 0.85,
        "mMOQWDG%+…@": 1.0,
    },
    other=0.71,
)
_BOLD = _widths(
    {
        "ijl'I|": 0.38,
        " ,.:;": 0.41,
        "ftr()[]-J": 0.5,
        "/csz": 0.6,
        "aekvxy": 0.68,
        "0123456789bdghnopqu": 0.72,
        "wNHU#&<=>^~": 0.93,
        "mMOQWDG%+…@": 1.11,
    },
    other=0.79,
)


@dataclass(frozen=True)
class Box:
    """A rectangle of the canvas."""

    x: float
    y: float
    width: float
    height: float

    def overlaps(self, other: Box) -> bool:
        """Tell whether the two share more than an edge."""
        return (
            self.x < other.x + other.width
            and other.x < self.x + self.width
            and self.y < other.y + other.height
            and other.y < self.y + self.height
        )


@dataclass(frozen=True)
class PlacedWords:
    """Rows of text in a box, from its top."""

    rows: tuple[str, ...]
    box: Box
    anchor: Anchor
    size: float
    bold: bool
    tone: Tone
    depth: int | None = None  # drawn in the colour of a line of this depth


@dataclass(frozen=True)
class PlacedMark:
    """A mark: its tick across the line, its leader down to its words, and the words."""

    name: str
    x: float
    y: float
    leader_to_y: float
    words: PlacedWords


@dataclass(frozen=True)
class PlacedLine:
    """A line: from (`start_x`, `start_y`) on its host it rises, until `lane_x`, to its lane at `y`, then runs on.

    `loops` are where its loops in mid-line begin and end, `marks` its plain marks.
    """

    line: DrawnLine
    start_x: float
    start_y: float
    lane_x: float
    end_x: float
    y: float
    name: PlacedWords
    loops: tuple[tuple[float, float], ...]
    marks: tuple[PlacedMark, ...]


@dataclass(frozen=True)
class PlacedTrap:
    """A trap: its box on the host, its number above where there is room near it, its two marks."""

    trap: DrawnTrap
    host_depth: int
    guest_depth: int
    box: Box
    number: PlacedWords | None
    marks: tuple[PlacedMark, PlacedMark]


@dataclass(frozen=True)
class PlacedDrawing:
    """A whole drawing on a canvas of `width` by `height`; one metre of bench is `scale` units."""

    width: float
    height: float
    left: float
    scale: float
    lines: tuple[PlacedLine, ...]
    traps: tuple[PlacedTrap, ...]


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Give a width that the text does not exceed in common sans-serif fonts (B612 and DejaVu Sans were measured)."""
    table, other, beyond = _BOLD if bold else _REGULAR
    return size * sum(table.get(letter, other if letter.isascii() else beyond) for letter in text)


def place(drawing: LineDrawing, width: float = 1200.0, edge: float = 40.0) -> PlacedDrawing:
    """Place a drawing on a canvas of `width`, at whose right an `edge` stays free; its height is what words need."""
    widths = [_words_width(mark, mark.name == _ENTRY) for trap in drawing.traps for mark in trap.marks]
    widths += [_words_width(mark, True) for line in drawing.lines for mark in line.marks]
    right = max([_LEAST_MARGIN, *(width + _CLEAR + edge for width in widths)])
    left = _LEAST_MARGIN
    across = max(width - left - right, 100.0)
    return _Placing(drawing, width, left, across, width - edge).placed()


def _words_width(mark: DrawnMark, bold: bool) -> float:
    return max(text_width(row, MARK_SIZE, bold=bold) for row in mark.words)


class _Tiers:
    """Which stretches of which tiers are taken; tiers count from the lane outward."""

    def __init__(self) -> None:
        self._taken: defaultdict[int, list[tuple[float, float]]] = defaultdict(list)

    def take(self, tier: int, low: float, high: float) -> None:
        self._taken[tier].append((low, high))

    def gaps(self, tier: int, low: float, high: float) -> list[tuple[float, float]]:
        """Give what is free of a tier between two places."""
        found, edge = [], low
        for taken_low, taken_high in sorted(self._taken[tier]):
            if taken_low > edge:
                found.append((edge, min(taken_low, high)))
            edge = max(edge, taken_high)
        if edge < high:
            found.append((edge, high))
        return [(start, end) for start, end in found if end > start]


class _Placing:
    """One drawing being placed: first along the bench, then across it."""

    def __init__(self, drawing: LineDrawing, width: float, left: float, across: float, right: float) -> None:
        self.drawing, self.width, self.left, self.across, self.right = drawing, width, left, across, right
        self.by_name = {line.name: line for line in drawing.lines}
        self.on_host: dict[str, list[DrawnTrap]] = {line.name: [] for line in drawing.lines}
        for trap in sorted(drawing.traps, key=lambda each: each.start):
            self.on_host[trap.host].append(trap)
        self.risers = {line.name: self._riser(line) for line in drawing.lines}

    def x(self, fraction: float) -> float:
        return self.left + fraction * self.across

    def _riser(self, line: DrawnLine) -> tuple[float, float]:
        """Give between which two places a line rises to its lane."""
        start = self.x(line.start)
        if line.joins is None:
            return start, start
        own = [self.x(trap.start) for trap in self.on_host[line.name]] + [self.x(mark.at) for mark in line.marks]
        above = [self.x(trap.start) for trap in self.on_host[line.joins] if trap.start >= line.start - 1e-12]
        room = [_LONGEST_RISER, 0.7 * (min(own, default=start) - start)]
        room += [0.8 * (min(above) - start)] if above else []
        return start, start + max(min(room), 0.0)

    def placed(self) -> PlacedDrawing:
        below = {line.name: self._below(line) for line in self.drawing.lines}
        above = {line.name: self._above(line) for line in self.drawing.lines}
        ys: dict[str, float] = {}
        top = 0.0
        trees: defaultdict[int, list[DrawnLine]] = defaultdict(list)
        for line in self.drawing.lines:
            trees[line.tree].append(line)
        for tree in sorted(trees):
            for line in sorted(trees[tree], key=lambda each: -each.lane):
                ys[line.name] = top + _ABOVE_LANE + _TIER_ABOVE * above[line.name][0]
                top = ys[line.name] + _BELOW_LANE + _TIER_BELOW * below[line.name][0]
        lines = tuple(
            PlacedLine(
                line=line,
                start_x=self.risers[line.name][0],
                start_y=ys[line.joins] if line.joins is not None else ys[line.name],
                lane_x=self.risers[line.name][1],
                end_x=self.x(line.end),
                y=ys[line.name],
                name=_moved(above[line.name][1], ys[line.name]),
                loops=tuple((self.x(start), self.x(end)) for start, end in line.loops),
                marks=tuple(self._mark(mark, "", ys[line.name], below[line.name][1]) for mark in line.marks),
            )
            for line in self.drawing.lines
        )
        traps = tuple(self._trap(trap, ys, above, below) for trap in self.drawing.traps)
        return PlacedDrawing(self.width, top, self.left, self.across / self.drawing.length_m, lines, traps)

    def _trap(
        self,
        trap: DrawnTrap,
        ys: dict[str, float],
        above: dict[str, tuple[int, PlacedWords, dict[str, PlacedWords]]],
        below: dict[str, tuple[int, dict[tuple[str, str], PlacedWords]]],
    ) -> PlacedTrap:
        y = ys[trap.host]
        number = above[trap.host][2].get(trap.name)
        start, end = self.x(trap.start), self.x(trap.end)
        words = below[trap.host][1]
        return PlacedTrap(
            trap=trap,
            host_depth=self.by_name[trap.host].depth,
            guest_depth=self.by_name[trap.guest].depth,
            box=Box(start, y - TRAP_HEIGHT / 2, end - start, TRAP_HEIGHT),
            number=_moved(number, y) if number is not None else None,
            marks=(
                self._mark(trap.marks[0], trap.name, y, words),
                self._mark(trap.marks[1], trap.name, y, words),
            ),
        )

    def _mark(self, mark: DrawnMark, trap: str, y: float, placed: dict[tuple[str, str], PlacedWords]) -> PlacedMark:
        words = _moved(placed[trap, mark.name], y)
        return PlacedMark(mark.name, self.x(mark.at), y, words.box.y + 2 * _ROW, words)

    def _below(self, line: DrawnLine) -> tuple[int, dict[tuple[str, str], PlacedWords]]:
        """Place the words of a line's marks; give how many tiers they need, and each with its lane at height 0."""
        marks = [
            (self.x(mark.at), mark.at == trap.start, trap.name, mark)
            for trap in self.on_host[line.name]
            for mark in trap.marks
        ]
        marks += [(self.x(mark.at), True, "", mark) for mark in line.marks]
        marks.sort(key=lambda each: (-each[0], each[1]))
        risers = self._rising(line, above=False)
        # Where the leftmost thing of each tier begins: from the canopy inward, all that is placed lies to the right.
        edges: list[float] = []
        placed: dict[tuple[str, str], PlacedWords] = {}
        for number, (x, is_start, trap, mark) in enumerate(marks):
            is_entry = mark.name == _ENTRY or not trap  # a plain mark is as much to be made as an entry
            needed = _words_width(mark, is_entry)
            next_x = next((other[0] for other in marks[number + 1 :] if other[0] < x - 2), -math.inf)
            low, tier, anchor = x - _CLEAR - needed, 0, "end"
            left_is_free = (
                is_start
                and low >= _CLEAR
                and (not edges or edges[0] >= x - _CLEAR)
                and next_x < low - 3
                and not any(start < x and low < end + _CLEAR for start, end in risers)
            )
            if not left_is_free:
                low, anchor = x + _CLEAR, "start"
                tier = bisect_left(edges, low + needed + 2)
            edges += [math.inf] * (tier + 1 - len(edges))
            edges[: tier + 1] = [min(edge, low - 1, x - 1) for edge in edges[: tier + 1]]
            placed[trap, mark.name] = PlacedWords(
                rows=mark.words,
                box=Box(low, _BELOW_LANE + _TIER_BELOW * tier, needed, 2 * _ROW),
                anchor="end" if anchor == "end" else "start",
                size=MARK_SIZE,
                bold=is_entry,
                tone="act" if is_entry else "soft",
            )
        return len(edges), placed

    def _rising(self, line: DrawnLine, above: bool) -> list[tuple[float, float]]:
        """Give where lines of the same tree rise through the room above, or below, a line's lane."""
        found = []
        for other in self.drawing.lines:
            if other.joins is None or other.tree != line.tree:
                continue
            host = self.by_name[other.joins].lane
            if (host <= line.lane < other.lane) if above else (host < line.lane <= other.lane):
                found.append(self.risers[other.name])
        return found

    def _above(self, line: DrawnLine) -> tuple[int, PlacedWords, dict[str, PlacedWords]]:
        """Place the numbers of a line's traps, and its name; give how many tiers they need, the name, the numbers."""
        tiers = _Tiers()
        for start, end in self._rising(line, above=True):
            for tier in range(_TIERS_ABOVE):
                tiers.take(tier, start - 3, end + 3)
        numbers: dict[str, PlacedWords] = {}
        used = 0
        for trap in self.on_host[line.name]:
            text = str(trap.number)
            needed = max(22.0, text_width(text, NUMBER_SIZE, bold=True) + 12)
            found = self._number_place(tiers, (self.x(trap.start) + self.x(trap.end)) / 2, needed)
            if found is not None:
                tier, low = found
                tiers.take(tier, low - 2, low + needed + 2)
                box = _above_box(low, tier, needed)
                numbers[trap.name] = PlacedWords((text,), box, "middle", NUMBER_SIZE, True, "ink")
                used = max(used, tier + 1)
        name_tier, name = self._name(line, tiers)
        return max(used, name_tier + 1), name, numbers

    def _number_place(self, tiers: _Tiers, middle: float, needed: float) -> tuple[int, float] | None:
        """Give the tier and the left edge of a number: over its trap, a little beside it, or further up."""
        for tier in range(_TIERS_ABOVE):
            gaps = tiers.gaps(tier, max(middle - _NEAR_ITS_TRAP, 0.0), min(middle + _NEAR_ITS_TRAP, self.width))
            lows = [
                min(max(middle - needed / 2, low + 2), high - needed - 2)
                for low, high in gaps
                if high - low >= needed + 4
            ]
            if lows:
                return tier, min(lows, key=lambda low: abs(low + needed / 2 - middle))
        return None

    def _name(self, line: DrawnLine, tiers: _Tiers) -> tuple[int, PlacedWords]:
        """Place a line's name over its widest free stretch; where none is wide enough, beyond its canopy end."""
        text = line.name if line.length is None else f"{line.name}, {line.length}"
        needed = text_width(text, NAME_SIZE, bold=True)
        start, end = self.risers[line.name][1], self.x(line.end)
        for tier in range(_TIERS_ABOVE):
            gaps = [gap for gap in tiers.gaps(tier, start, end) if gap[1] - gap[0] >= needed + 2 * _CLEAR]
            if gaps:
                low, high = max(gaps, key=lambda gap: gap[1] - gap[0])
                box = _above_box((low + high - needed) / 2, tier, needed)
                return tier, PlacedWords((text,), box, "middle", NAME_SIZE, True, "ink", line.depth)
        low = end + (_BESIDE_KNOT if line.knot else _BESIDE_ATTACHMENT)
        room = self.right - low
        shorter = (short(line.name, longest) for longest in range(len(line.name), 0, -1))
        text = next(
            (each for each in (text, *shorter) if text_width(each, NAME_SIZE, bold=True) <= room), line.name[:1]
        )
        box = Box(low, -_NAME_HEIGHT / 2, min(text_width(text, NAME_SIZE, bold=True), room), _NAME_HEIGHT)
        return -1, PlacedWords((text,), box, "start", NAME_SIZE, True, "ink", line.depth)


def _above_box(low: float, tier: int, width: float) -> Box:
    return Box(low, -_ABOVE_LANE - _TIER_ABOVE * tier - _NAME_HEIGHT, width, _NAME_HEIGHT)


def _moved(words: PlacedWords, y: float) -> PlacedWords:
    return replace(words, box=replace(words.box, y=words.box.y + y))
