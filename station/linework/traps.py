"""The traps of a plan: which line lies inside which, over what stretch, and which of them cannot be made.

A trap lies on its *host*; its *guest* is the running end inside. A line's own link end covers [loop, loop + trap] of
it, its own canopy end [length - loop - trap, length - loop]; a cascade that joins at height J runs down inside its
host and covers [J - trap, J]. A loop in mid-line from height H to H + loop has a second leg beside the line, trapped in
it below, [H - trap, H], and above, [H + loop, H + loop + trap]; where the leg is the running end of the link end, that
end's own trap is the one below. Heights are finished lengths from the link-end bearing point of the host.

`grow` makes the tree of lines and refuses, with the line, the trap and the two numbers that clash, whatever nobody
could make. The working order: link ends, loops in mid-line and joints from the link outward, a line before what it
carries, then canopy ends from the outermost inward; so a line closes only when no other trap on it is still to come.

>>> from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings
>>> def plan(at_m):
...     main = LineSettings("A", LinkEnd(0.04, 0.13), CanopyEnd(0.13), length_m=3.0)
...     branch = LineSettings("B", Joint("A", at_m, 0.13), CanopyEnd(0.13), length_m=2.0)
...     return PlanSettings("a.toml", "demo", 44.5, 0.0127, (main, branch), shrinkage=ShrinkageSettings(0.06, 0.01))
>>> [trap.name for trap in grow(plan(1.2)).working_order()]
['A link end', 'B into A', 'B canopy end', 'A canopy end']
>>> grow(plan(0.25))
Traceback (most recent call last):
...
station.linework.traps.PlanFault: a.toml: line 'A': trap 'A link end' reaches up to 6 11/16 in and trap 'B into A' \
down to 4 3/4 in; two traps cannot lie over the same stretch
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from station.linework.allowance import AllowanceFault, Allowances, TrialsUsed, material_of
from station.linework.shrinkage import Shrinkage
from station.settings.plan import (
    CanopyEnd,
    Joint,
    Leg,
    LineSettings,
    LinkEnd,
    MidLoop,
    PlanSettings,
    SewingSettings,
)
from station.units import IMPERIAL, Said

End = Literal["link end", "loop", "joint", "canopy end"]

# Two stretches that only touch are no clash: what binary rounding adds stays below this.
_TOUCHING_M = 1e-9


class PlanFault(ValueError):
    """A plan nobody could work; the message names the file, the line, the trap and what clashes."""


@dataclass(frozen=True)
class Trap:
    """One trap to be made.

    `covers_m` is the stretch of the finished host, None at the canopy end of a host whose length is not known; inside
    it the guest runs from the entry `toward_canopy` or toward the link. `leg` tells what a loop in mid-line has for its
    second leg; `beyond_m` is what goes on of a running end that comes out again. `rank` counts the traps of one host
    from the link outward.
    """

    name: str
    end: End
    host: str
    guest: str
    trap_m: float
    loop_m: float
    knot_m: float
    minimum_m: float
    covers_m: tuple[float, float] | None
    toward_canopy: bool
    leg: Leg | None
    beyond_m: float
    shrinkage: Shrinkage
    sewing: SewingSettings | None
    rank: int = 0

    @property
    def shortening_m(self) -> float:
        """Give how much the trap will shorten its host."""
        return self.shrinkage.allowance_m(self.trap_m)


@dataclass(frozen=True)
class LineTree:
    """The lines of a plan with what they carry; every mapping is by a line's name."""

    settings: PlanSettings
    lines: Mapping[str, LineSettings]
    mains: Sequence[str]
    carried: Mapping[str, Sequence[str]]
    lower_traps: Mapping[str, Trap]  # a line's own end: at the link, or at its joint
    loop_traps: Mapping[str, Sequence[Trap]]  # of its loops in mid-line
    canopy_traps: Mapping[str, Trap]
    on_host: Mapping[str, Sequence[Trap]]  # from the link outward
    doubts: Sequence[str]  # about the shortenings
    trials_used: Sequence[TrialsUsed]

    def working_order(self) -> list[Trap]:
        """Give the traps in the order of work: lower ends and loops in pre-order, canopy ends in post-order."""
        outward: list[str] = []
        waiting = list(reversed(self.mains))
        while waiting:
            name = waiting.pop()
            outward.append(name)
            waiting.extend(reversed(self.carried[name]))
        inward: list[str] = []
        waiting = list(self.mains)
        while waiting:  # a pre-order with the siblings reversed, read backward, is the post-order
            name = waiting.pop()
            inward.append(name)
            waiting.extend(self.carried[name])
        order: list[Trap] = []
        for name in outward:
            order += [self.lower_traps[name], *self.loop_traps[name]]
        return order + [self.canopy_traps[name] for name in reversed(inward)]


def grow(settings: PlanSettings, said: Said = IMPERIAL) -> LineTree:
    """Make the tree of a plan's lines. Raises `PlanFault` for whatever cannot be made."""
    lines: dict[str, LineSettings] = {}
    for line in settings.lines:
        if line.name in lines:
            raise PlanFault(f"{settings.file}: two lines are called {line.name!r}; each needs a name of its own")
        lines[line.name] = line
    mains, carried = _joined(settings, lines)
    allowances = Allowances(settings, lines)
    on_host: dict[str, list[Trap]] = {name: [] for name in lines}
    names: set[str] = set()
    for line in settings.lines:
        _check_loops(settings, line, said)
        _check_marks(settings, line, said)
        for trap in _traps_of(settings, line, allowances, said):
            _check_alone(settings, trap, said)
            if trap.name in names:
                raise PlanFault(f"{settings.file}: two traps would be called {trap.name!r}; rename one of the lines")
            names.add(trap.name)
            on_host[trap.host].append(trap)
    ranked = {line.name: _ranked(settings, line, on_host[line.name], said) for line in settings.lines}
    traps = [trap for on_one in ranked.values() for trap in on_one]
    loop_traps: dict[str, list[Trap]] = {name: [] for name in lines}
    for trap in traps:
        if trap.end == "loop":
            loop_traps[trap.host].append(trap)
    return LineTree(
        settings=settings,
        lines=lines,
        mains=mains,
        carried=carried,
        lower_traps={trap.guest: trap for trap in traps if trap.end in {"link end", "joint"}},
        loop_traps=loop_traps,
        canopy_traps={trap.guest: trap for trap in traps if trap.end == "canopy end"},
        on_host=ranked,
        doubts=tuple(allowances.doubts),
        trials_used=tuple(allowances.used.values()),
    )


def nearest(name: str, known: Iterable[str]) -> str:
    """Say which known name is nearest to a wrong one, or which there are.

    >>> nearest("A3", ["B1", "A1"]), nearest("Q", ["B1", "A1"])
    ("the nearest known is 'A1'", "known are 'B1', 'A1'")
    """
    known = list(known)
    near = difflib.get_close_matches(name, known, 1, 0.5)
    return f"the nearest known is {near[0]!r}" if near else f"known are {', '.join(map(repr, known))}"


def _both_lengths(first_m: float, second_m: float, said: Said) -> tuple[str, str]:
    """Write two lengths that clash: as the bench reads them, or to the micrometre where that would hide the clash."""
    texts = said.length(first_m), said.length(second_m)
    if texts[0] == texts[1] and first_m != second_m:
        return f"{first_m * 1000:.3f} mm", f"{second_m * 1000:.3f} mm"
    return texts


def _joined(settings: PlanSettings, lines: Mapping[str, LineSettings]) -> tuple[list[str], dict[str, list[str]]]:
    """Give the lines that end at a link, and for each line what joins it; refuse unknown hosts and circles."""
    mains: list[str] = []
    carried: dict[str, list[str]] = {name: [] for name in lines}
    for line in settings.lines:
        if not isinstance(line.link_end, Joint):
            mains.append(line.name)
            continue
        if line.link_end.joins not in lines:
            raise PlanFault(
                f"{settings.file}: line {line.name!r} joins {line.link_end.joins!r}, which is no line of this plan; "
                f"{nearest(line.link_end.joins, lines)}"
            )
        carried[line.link_end.joins].append(line.name)
    reached = set(mains)
    waiting = list(mains)
    while waiting:
        branches = carried[waiting.pop()]
        reached.update(branches)
        waiting.extend(branches)
    stranded = next((name for name in lines if name not in reached), None)
    if stranded is not None:
        path = [stranded]
        while True:
            end = lines[path[-1]].link_end
            assert isinstance(end, Joint), "only a line that joins another can be out of reach of every link"  # noqa: S101 a bug, not an input
            if end.joins in path:
                circle = [*path[path.index(end.joins) :], end.joins]
                break
            path.append(end.joins)
        raise PlanFault(
            f"{settings.file}: the lines join in a circle, {' to '.join(map(repr, circle))}; one of them must end "
            "at the link"
        )
    return mains, carried


def _traps_of(settings: PlanSettings, line: LineSettings, allowances: Allowances, said: Said) -> list[Trap]:
    """Give the traps that a line's own running ends and loops make, from the link outward."""

    def trap(
        name: str,
        end: End,
        own: LinkEnd | Joint | MidLoop | CanopyEnd,
        covers_m: tuple[float, float] | None,
        *,
        host: str = line.name,
        toward_canopy: bool = False,
        loop_m: float = 0.0,
        knot_m: float = 0.0,
        leg: Leg | None = None,
        beyond_m: float = 0.0,
    ) -> Trap:
        try:
            shrinkage = allowances.of(name, host, line.name, own.shrinkage)
        except AllowanceFault as fault:
            raise PlanFault(f"{settings.file}: line {host!r}, trap {name!r}: {fault}") from None
        return Trap(
            name=name,
            end=end,
            host=host,
            guest=line.name,
            trap_m=own.trap_m,
            loop_m=loop_m,
            knot_m=knot_m,
            minimum_m=settings.minimum_trap_m if own.minimum_trap_m is None else own.minimum_trap_m,
            covers_m=covers_m,
            toward_canopy=toward_canopy,
            leg=leg,
            beyond_m=beyond_m,
            shrinkage=shrinkage,
            sewing=_clear_sewing(settings, line, name, own.trap_m, own.sewing, said, tapered=beyond_m == 0),
        )

    low, top, name = line.link_end, line.canopy_end, line.name
    if isinstance(low, Joint):
        covers_m = low.at_m - low.trap_m, low.at_m
        traps = [trap(f"{name} into {low.joins}", "joint", low, covers_m, host=low.joins)]
    else:
        goes_on = sum(each.loop_m + each.trap_m for each in line.loops if each.leg == "running end")
        covers_m = low.loop_m, low.loop_m + low.trap_m
        traps = [
            trap(f"{name} link end", "link end", low, covers_m, toward_canopy=True, loop_m=low.loop_m, beyond_m=goes_on)
        ]
    for loop in line.loops:
        begins_m, ends_m = loop.at_m, loop.at_m + loop.loop_m
        if loop.leg == "own piece":
            below_m = begins_m - loop.trap_m, begins_m
            traps.append(trap(f"{name} {loop.name} below", "loop", loop, below_m, leg=loop.leg))
        above_m = ends_m, ends_m + loop.trap_m
        traps.append(trap(f"{name} {loop.name} above", "loop", loop, above_m, toward_canopy=True, leg=loop.leg))
    at_top_m = None if line.length_m is None else line.length_m - top.loop_m
    covers_top_m = None if at_top_m is None else (at_top_m - top.trap_m, at_top_m)
    canopy = trap(f"{name} canopy end", "canopy end", top, covers_top_m, loop_m=top.loop_m, knot_m=top.knot_m)
    return [*traps, canopy]


def _check_loops(settings: PlanSettings, line: LineSettings, said: Said) -> None:
    """Refuse a loop in mid-line of no size, and one whose leg does not come out where the loop begins."""
    for loop in line.loops:
        place = f"{settings.file}: line {line.name!r}, loop {loop.name!r}"
        if loop.loop_m <= 0:
            raise PlanFault(f"{place}: the loop is {said.length(loop.loop_m)}; a loop of no size holds nothing")
        if loop.leg == "own piece":
            continue
        if isinstance(line.link_end, Joint):
            raise PlanFault(
                f"{place}: its leg is to be the running end, and that lies inside {line.link_end.joins!r}; give the "
                "loop a leg of its own piece"
            )
        out_m = line.link_end.loop_m + line.link_end.trap_m
        if abs(out_m - loop.at_m) > _TOUCHING_M:
            out, begins = _both_lengths(out_m, loop.at_m, said)
            raise PlanFault(
                f"{place}: the running end of trap '{line.name} link end' comes out at {out}, and the loop begins at "
                f"{begins}; they must meet"
            )


def _check_marks(settings: PlanSettings, line: LineSettings, said: Said) -> None:
    names: set[str] = set()
    for mark in line.marks:
        place = f"{settings.file}: line {line.name!r}, mark {mark.name!r}"
        if mark.name in names:
            raise PlanFault(f"{place}: two marks of this line have that name; each needs a name of its own")
        names.add(mark.name)
        if line.length_m is not None and mark.at_m > line.length_m + _TOUCHING_M:
            at, top = _both_lengths(mark.at_m, line.length_m, said)
            raise PlanFault(f"{place}: it would stand at {at}, and the line ends at {top}")


def _clear_sewing(
    settings: PlanSettings,
    line: LineSettings,
    trap: str,
    trap_m: float,
    sewing: SewingSettings | None,
    said: Said,
    tapered: bool,
) -> SewingSettings | None:
    """Give the sewing with its taper (default: the guest's flat width); refuse a tack that reaches into the taper.

    A running end that comes out again is not `tapered` there.
    """
    if sewing is None or trap_m <= 0:  # a trap of no length is refused for that
        return None
    material = material_of(settings, line)
    flat_width_m = material.flat_width_m if material is not None else None
    taper_m = sewing.taper_m if sewing.taper_m is not None else flat_width_m or 0.0
    if not tapered:
        taper_m = 0.0
    ends_m, clear_m = sewing.from_entry_m + sewing.length_m, max(trap_m - taper_m, 0.0)
    if ends_m > clear_m + _TOUCHING_M:
        found, most = _both_lengths(ends_m, clear_m, said)
        raise PlanFault(
            f"{settings.file}: line {line.name!r}, trap {trap!r}: the tack would end {found} from the entry, and the "
            f"taper begins at {most}; it must stay clear of the taper"
        )
    return replace(sewing, taper_m=taper_m)


def _check_alone(settings: PlanSettings, trap: Trap, said: Said) -> None:
    """Refuse what is wrong with one trap whatever lies beside it."""
    place = f"{settings.file}: line {trap.guest!r}, trap {trap.name!r}"
    if trap.end == "link end" and trap.loop_m <= 0:
        raise PlanFault(f"{place}: the loop is {said.length(trap.loop_m)}; a loop of no size goes over no link")
    if trap.trap_m <= 0:
        raise PlanFault(f"{place}: the trap is {said.length(trap.trap_m)} long; it must have a length")
    if trap.trap_m < trap.minimum_m - _TOUCHING_M:
        found, least = _both_lengths(trap.trap_m, trap.minimum_m, said)
        raise PlanFault(f"{place}: the trap is {found} long, and its minimum is {least}")


def _ranked(settings: PlanSettings, line: LineSettings, traps: Sequence[Trap], said: Said) -> list[Trap]:
    """Put the traps of one host in order from the link outward; refuse those that leave it or clash."""
    place = f"{settings.file}: line {line.name!r}"
    lowest_m = line.link_end.loop_m if isinstance(line.link_end, LinkEnd) else 0.0
    highest_m = math.inf if line.length_m is None else line.length_m - line.canopy_end.loop_m
    in_order = sorted(traps, key=lambda trap: trap.covers_m or (math.inf, math.inf))
    stretches = [(trap.covers_m, f"trap {trap.name!r}", "trap") for trap in traps if trap.covers_m is not None]
    stretches += [((loop.at_m, loop.at_m + loop.loop_m), f"loop {loop.name!r}", "loop") for loop in line.loops]
    below: tuple[float, str, str] | None = None
    for (start_m, end_m), name, kind in sorted(stretches):
        if end_m > highest_m + _TOUCHING_M:
            entry, top = _both_lengths(end_m, highest_m, said)
            end = ", below the canopy end's loop" if line.canopy_end.loop_m else ""
            raise PlanFault(f"{place}: {name} reaches up to {entry}, and the line ends at {top}{end}")
        if start_m < lowest_m - _TOUCHING_M:
            bottom, start = _both_lengths(lowest_m, start_m, said)
            end = ", above the link end's loop" if lowest_m else ""
            raise PlanFault(f"{place}: {name} reaches down to {start}, and the line begins at {bottom}{end}")
        if below is not None and start_m < below[0] - _TOUCHING_M:
            start, reached = _both_lengths(start_m, below[0], said)
            why = "two traps cannot lie over the same stretch"
            if "loop" in {kind, below[2]}:
                why = "a loop needs its stretch of the line for itself"
            raise PlanFault(f"{place}: {below[1]} reaches up to {reached} and {name} down to {start}; {why}")
        below = end_m, name, kind
    return [replace(trap, rank=rank) for rank, trap in enumerate(in_order)]
