"""Random trees of lines that can be made, for property tests: hosts are filled from the link outward."""

from __future__ import annotations

from hypothesis import strategies as st

from simulators.line_work import Cut, TrapWork
from station.settings.plan import (
    CanopyEnd,
    HeightMark,
    Joint,
    LineSettings,
    LinkEnd,
    MidLoop,
    PlanSettings,
    ShrinkageSettings,
)

INCH = 0.0254
sixteenths = st.integers(16, 160).map(lambda n: n * INCH / 16)
gaps = st.integers(0, 320).map(lambda n: n * INCH / 16)
loops = st.integers(4, 48).map(lambda n: n * INCH / 16)
coefficients = st.floats(0.0, 0.2)


@st.composite
def plans(draw, most_lines=7, own_shrinkages=True):
    """Draw a plan of up to `most_lines` lines in any file order, all lengths known, with loops and plain marks."""
    count = draw(st.integers(1, most_lines))
    parents = [None, *(draw(st.none() | st.integers(0, child - 1)) for child in range(1, count))]
    joint_traps = [draw(sixteenths) for _ in range(count)]
    joints, lengths, lower_ends, canopy_ends, mid_loops = {}, {}, {}, {}, {}
    for host in range(count):
        height = 0.0
        mid_loops[host] = []
        if parents[host] is None:
            lower_ends[host] = LinkEnd(draw(loops), draw(sixteenths))
            height = lower_ends[host].loop_m + lower_ends[host].trap_m
            if draw(st.integers(0, 3)) == 0:
                loop = MidLoop("from below", height, draw(loops), draw(sixteenths), "running end")
                mid_loops[host].append(loop)
                height += loop.loop_m + loop.trap_m
        upward = [each for each in range(count) if parents[each] == host]
        upward += [None] * draw(st.sampled_from((0, 0, 0, 1, 2)))
        for child in draw(st.permutations(upward)):
            if child is None:
                trap, loop = draw(sixteenths), draw(loops)
                height += draw(gaps) + trap
                mid_loops[host].append(MidLoop(f"loop {len(mid_loops[host])}", height, loop, trap))
                height += loop + trap
                continue
            height += draw(gaps) + joint_traps[child]
            joints[child] = height
        canopy_ends[host] = CanopyEnd(draw(sixteenths), draw(st.just(0.0) | loops), draw(st.just(0.0) | loops))
        lengths[host] = height + draw(gaps) + canopy_ends[host].trap_m + canopy_ends[host].loop_m
    lines = [
        LineSettings(
            f"L{number}",
            lower_ends.get(number) or Joint(f"L{parents[number]}", joints[number], joint_traps[number]),
            canopy_ends[number],
            length_m=lengths[number],
            stiffness_n=draw(st.none() | st.floats(5e3, 1e5)),
            shrinkage=draw(st.none() | coefficients.map(lambda k: ShrinkageSettings(k, 0.01)))
            if own_shrinkages
            else None,
            loops=tuple(mid_loops[number]),
            marks=tuple(
                HeightMark(f"mark {n}", draw(st.floats(0.0, 1.0)) * lengths[number])
                for n in range(draw(st.sampled_from((0, 0, 1, 2))))
            ),
        )
        for number in range(count)
    ]
    return PlanSettings(
        file="random.toml",
        name="random",
        pull_n=44.5,
        tolerance_m=0.0127,
        lines=tuple(draw(st.permutations(lines))),
        comparing_uncertainty_n=draw(st.none() | st.floats(0, 5)),
        mark_uncertainty_m=draw(st.none() | st.floats(0, 1e-3)),
        eye_uncertainty_m=draw(st.none() | st.floats(0, 1e-3)),
        spare_m=draw(gaps),
        shrinkage=ShrinkageSettings(draw(coefficients), draw(st.floats(0, 0.02))),
    )


def shuffled(plan, chance):
    """Give the traps of a worked-out plan in a random order in which every running end comes out before it goes in."""
    order = list(plan.order)
    chance.shuffle(order)
    for step in plan.steps:
        if step.leg == "running end":
            below, above = order.index(f"{step.host} link end"), order.index(step.trap)
            if above < below:
                order[below], order[above] = order[above], order[below]
    return order


def described(plan):
    """Give the pieces and steps of a worked-out plan as the forward shop wants them."""
    lower = {step.guest: step for step in plan.steps if step.end in {"link end", "joint"}}
    canopy = {step.guest: step for step in plan.steps if step.end == "canopy end"}
    lines = {line.name: line for line in plan.lines}
    cuts = [
        Cut(
            line.name,
            line.cut_length_m,
            lower[line.name].running_end_marks_m[0] + lower[line.name].loop_m,
            canopy[line.name].loop_m,
            canopy[line.name].knot_m,
        )
        for line in plan.lines
    ]
    steps = [
        TrapWork(
            step.trap,
            step.host,
            step.trap_m,
            step.toward_canopy,
            step.marks[0].from_link_end_m,
            step.marks[1].from_link_end_m,
            step.end == "canopy end",
            tuple(mark.from_link_end_m for mark in lines[step.host].marks) if step.end == "canopy end" else (),
        )
        for step in plan.steps
    ]
    return cuts, steps
