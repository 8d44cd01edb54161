"""A shop that works a plan forward on pieces of line and knows the true shortening; it shares nothing with the planner.

A piece is raw line with a coordinate along it. A trap turns a raw stretch of trap x (1 + k) into a stretch of trap.
Marks are made on the piece as it lies at that moment, measured from the link-end bearing point; traps are then worked
at the marks. Lines are described by plain dictionaries, and so are the plan's steps:

    line: name, cut_m, lower_trap_m and lower_loop_m (at the link or the joint), loop_m and knot_m (at the canopy)
    step: trap, end, host, guest, trap_m, entry_at_m (where the entry mark is made), end_at_m
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Piece:
    """One piece of line, its raw length, where its bearing points lie, and which raw stretches have been trapped."""

    raw_m: float
    bearing_raw_m: float
    trapped: list[tuple[float, float, float]] = field(default_factory=list)  # raw from, raw to, stands
    canopy_bearing_raw_m: float | None = None
    left_over_m: float | None = None

    def height_m(self, raw_m: float) -> float:
        """Give where a raw point stands now, above the link-end bearing point."""
        return self._stands_to(raw_m) - self._stands_to(self.bearing_raw_m)

    def _stands_to(self, raw_m: float) -> float:
        total = raw_m
        for low, high, stands in self.trapped:
            if raw_m >= high:
                total -= (high - low) - stands
            elif raw_m > low:
                total -= (raw_m - low) * (1 - stands / (high - low))
        return total

    def raw_at(self, height_m: float) -> float:
        """Give the raw point that stands at a height now; found by halving, for heights only grow along a piece."""
        low, high = 0.0, self.raw_m
        for _ in range(200):
            middle = (low + high) / 2
            if self.height_m(middle) < height_m:
                low = middle
            else:
                high = middle
        return (low + high) / 2


def work(lines, steps, true_k, closing_error_m=None):
    """Cut the pieces, make the marks, work the traps in the order of `steps`; give the pieces and each trap's raw ends.

    `true_k` is a function of the step's trap name; `closing_error_m`, by line, is added to its closing mark.
    """
    closing_error_m = closing_error_m or {}
    pieces = {}
    for line in lines:
        below_m = (
            line["lower_trap_m"] + line["lower_loop_m"]
        )  # from the free end to the middle of the loop, or the entry
        pieces[line["name"]] = Piece(line["cut_m"], below_m)
    by_name = {line["name"]: line for line in lines}
    ends = {}
    for step in steps:
        host = pieces[step["host"]]
        error_m = closing_error_m.get(step["host"], 0.0) if step["end"] == "canopy end" else 0.0
        entry = host.raw_at(step["entry_at_m"] + error_m)
        far_mark = host.raw_at(step["end_at_m"])
        swallowed_m = step["trap_m"] * (1 + true_k(step["trap"]))
        far = entry + swallowed_m if step["end"] == "link end" else entry - swallowed_m
        low, high = min(entry, far), max(entry, far)
        for other_low, other_high, _ in host.trapped:
            assert high <= other_low + 1e-9 or low >= other_high - 1e-9, "a stretch cannot be trapped twice"
        host.trapped.append((low, high, step["trap_m"]))
        ends[step["trap"]] = {"entry": entry, "far": far, "far_mark": far_mark}
        if step["end"] == "canopy end":
            line = by_name[step["host"]]
            host.canopy_bearing_raw_m = entry + line["loop_m"]
            host.left_over_m = host.raw_m - (entry + 2 * line["loop_m"] + line["knot_m"] + step["trap_m"])
    return pieces, ends
