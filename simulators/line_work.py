"""Work on pieces of raw line: cut, mark, trap, shorten, compare, by a hand that follows a list and cannot plan.

It knows what no planner knows: how much each trap really shortens its host. Rules:

- a piece is raw line with a coordinate from its lower free end. A trap turns a raw stretch of trap (1 + k) into a
  stretch of trap; a raw stretch can be trapped once;
- a mark is made on the piece as it lies at that moment, at a height above the link-end bearing point; the running end
  then goes in at its mark, and covers its own length of what it lies in;
- a line is as long as from its link-end bearing point to that of its canopy end: the middle of the loop there, or the
  entry where there is none.

>>> piece = Piece(raw_m=4.0, bearing_raw_m=0.2)
>>> entry_raw_m, end_raw_m = piece.trap(at_m=0.05, trap_m=0.1, toward_canopy=True, k=0.06)
>>> round(end_raw_m - entry_raw_m, 9), round(piece.height_m(4.0), 9)
(0.106, 3.794)
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

_TOUCHING_M = 1e-9


@dataclass(frozen=True)
class Cut:
    """A piece as it is cut: what its lower end uses up to its bearing point or entry, and what its canopy end uses."""

    line: str
    cut_m: float
    below_bearing_m: float
    loop_m: float
    knot_m: float


@dataclass(frozen=True)
class TrapWork:
    """One trap to make on `host`: marks at heights as the host lies then; `closes` at its canopy end."""

    trap: str
    host: str
    trap_m: float
    toward_canopy: bool
    entry_at_m: float
    end_at_m: float
    closes: bool
    marks_at_m: tuple[float, ...] = ()  # plain marks made at the same time


@dataclass(frozen=True)
class Made:
    """A trap as it was made, in raw places: its entry, where its running end stops, the mark for that, plain marks."""

    entry_raw_m: float
    end_raw_m: float
    end_mark_raw_m: float
    marks_raw_m: tuple[float, ...]


class Piece:
    """One piece of line; see the module's docstring."""

    def __init__(self, raw_m: float, bearing_raw_m: float) -> None:
        self.raw_m = raw_m
        self.canopy_bearing_raw_m: float | None = None
        self.left_over_m: float | None = None
        self._trapped: list[tuple[float, float, float]] = []  # raw from, raw to, stands; in order
        self._bearing_raw_m = bearing_raw_m

    def height_m(self, raw_m: float) -> float:
        """Give where a raw point stands now, above the link-end bearing point."""
        return self._stands_to(raw_m) - self._stands_to(self._bearing_raw_m)

    def raw_at(self, height_m: float) -> float:
        """Give the raw point that stands at a height now."""
        raw_m = stands_m = 0.0
        wanted_m = height_m + self._stands_to(self._bearing_raw_m)
        for low, high, stands in self._trapped:
            if wanted_m <= stands_m + (low - raw_m):
                break
            stands_m += low - raw_m
            if wanted_m < stands_m + stands:
                return low + (wanted_m - stands_m) * (high - low) / stands
            raw_m, stands_m = high, stands_m + stands
        return raw_m + (wanted_m - stands_m)

    def trap(self, at_m: float, trap_m: float, toward_canopy: bool, k: float) -> tuple[float, float]:
        """Let a running end in at a height; give the raw places of the entry and of where it stops.

        Raises `ValueError` where it would lie over what is trapped already.
        """
        entry = self.raw_at(at_m)
        stop = entry + trap_m * (1 + k) * (1 if toward_canopy else -1)
        low, high = min(entry, stop), max(entry, stop)
        for other_low, other_high, _ in self._trapped:
            if high > other_low + _TOUCHING_M and low < other_high - _TOUCHING_M:
                raise ValueError(f"a trap from {low} m to {high} m lies over one from {other_low} m to {other_high} m")
        insort(self._trapped, (low, high, trap_m))
        return entry, stop

    @property
    def finished_m(self) -> float:
        """Give how long the line stands, from bearing point to bearing point; closed lines alone have a length."""
        if self.canopy_bearing_raw_m is None:
            raise ValueError("the line is not closed yet")
        return self.height_m(self.canopy_bearing_raw_m)

    def _stands_to(self, raw_m: float) -> float:
        total = raw_m
        for low, high, stands in self._trapped:
            if raw_m <= low:
                break
            total -= (1 - stands / (high - low)) * (min(raw_m, high) - low)
        return total


def work(
    cuts: Iterable[Cut],
    steps: Iterable[TrapWork],
    true_k: Callable[[str], float],
    closing_error_m: Mapping[str, float] | None = None,
) -> tuple[dict[str, Piece], dict[str, Made]]:
    """Cut the pieces, then mark and trap in the order of `steps`; give the pieces by line and what was made by trap.

    `true_k` gives a trap's real shortening per unit of its length; `closing_error_m`, by line, is how far up its
    closing mark is misplaced.
    """
    by_line = {cut.line: cut for cut in cuts}
    pieces = {line: Piece(cut.cut_m, cut.below_bearing_m) for line, cut in by_line.items()}
    made: dict[str, Made] = {}
    for step in steps:
        piece, cut = pieces[step.host], by_line[step.host]
        error_m = (closing_error_m or {}).get(step.host, 0.0) if step.closes else 0.0
        end_mark = piece.raw_at(step.end_at_m)
        marks = tuple(piece.raw_at(at_m) for at_m in step.marks_at_m)
        entry, stop = piece.trap(step.entry_at_m + error_m, step.trap_m, step.toward_canopy, true_k(step.trap))
        made[step.trap] = Made(entry, stop, end_mark, marks)
        if step.closes:
            piece.canopy_bearing_raw_m = entry + cut.loop_m
            piece.left_over_m = piece.raw_m - (entry + 2 * cut.loop_m + cut.knot_m + step.trap_m)
    return pieces, made


def compare_m(pieces: Mapping[str, Piece], opposite_m: Mapping[str, float]) -> dict[str, float]:
    """Give how much longer each line stands than its opposite number."""
    return {line: pieces[line].finished_m - length_m for line, length_m in opposite_m.items()}
