"""Random trees of lines that can be made, for property tests: hosts are filled from the link outward."""

from __future__ import annotations

from hypothesis import strategies as st

from station.settings.plan import CanopyEnd, Joint, LineSettings, LinkEnd, PlanSettings, ShrinkageSettings

INCH = 0.0254
sixteenths = st.integers(16, 160).map(lambda n: n * INCH / 16)
gaps = st.integers(0, 320).map(lambda n: n * INCH / 16)
loops = st.integers(4, 48).map(lambda n: n * INCH / 16)
coefficients = st.floats(0.0, 0.2)


@st.composite
def plans(draw, most_lines=7, own_shrinkages=True):
    """Draw a plan of up to `most_lines` lines in any file order, all lengths known."""
    count = draw(st.integers(1, most_lines))
    parents = [None, *(draw(st.none() | st.integers(0, child - 1)) for child in range(1, count))]
    joint_traps = [draw(sixteenths) for _ in range(count)]
    joints, lengths, lower_ends, canopy_ends = {}, {}, {}, {}
    for host in range(count):
        height = 0.0
        if parents[host] is None:
            lower_ends[host] = LinkEnd(draw(loops), draw(sixteenths))
            height = lower_ends[host].loop_m + lower_ends[host].trap_m
        for child in draw(st.permutations([each for each in range(count) if parents[each] == host])):
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


def described(plan):
    """Give the lines and steps of a worked-out plan as the forward shop wants them."""
    lower = {step.guest: step for step in plan.steps if step.end != "canopy end"}
    canopy = {step.guest: step for step in plan.steps if step.end == "canopy end"}
    lines = [
        {
            "name": line.name,
            "cut_m": line.cut_length_m,
            "lower_trap_m": lower[line.name].running_end_marks_m[0],
            "lower_loop_m": lower[line.name].loop_m,
            "loop_m": canopy[line.name].loop_m,
            "knot_m": canopy[line.name].knot_m,
        }
        for line in plan.lines
    ]
    steps = [
        {
            "trap": step.trap,
            "end": step.end,
            "host": step.host,
            "guest": step.guest,
            "trap_m": step.trap_m,
            "entry_at_m": step.marks[0].from_link_end_m,
            "end_at_m": step.marks[1].from_link_end_m,
        }
        for step in plan.steps
    ]
    return lines, steps
