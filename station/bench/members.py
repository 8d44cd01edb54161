"""The lines of a set job, each with its own plan worked out: in which order, with whom paired, whose pull is shared.

The order is the job file's, number by number, so that left and right of a number follow each other. Lines cut from one
stretched length are a batch. Two lines are a pair where group and number are the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from station.linework.line_plan import LinePlan, make_plan
from station.settings.reline import RelineSettings


@dataclass(frozen=True)
class Member:
    """One main line of the set with what joins it; `batch` numbers the stretched length that its pieces come from."""

    name: str
    pair: str
    batch: int
    plan: LinePlan = field(repr=False, compare=False)

    @property
    def lines(self) -> tuple[str, ...]:
        """Give the names of its lines, the main line first as the plan has it."""
        return tuple(line.name for line in self.plan.lines)


def members_of(settings: RelineSettings) -> tuple[Member, ...]:
    """Work out every line of a set. Raises `PlanFault` where a plan cannot be worked."""
    members = []
    for at, line in enumerate(settings.lines):
        own = settings.plan_of(line)
        plan = make_plan(replace(own, name=f"{settings.name}: {line.name}"))
        members.append(Member(line.name, line.pair, at // settings.together, plan))
    return tuple(members)


def opposite_of(members: Sequence[Member], member: Member) -> Member | None:
    """Give the other line of a pair; None where the set holds one side alone."""
    return next((each for each in members if each.pair == member.pair and each.name != member.name), None)
