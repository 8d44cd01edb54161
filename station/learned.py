"""What the shop's own jobs say of how much a trap shortens its host: each canopy end's trap is a trial.

A line stood `offset` longer than its opposite number when its canopy end was marked, every other trap on it made. When
the trap was made and set the line was compared, and found to be long by the difference. So the trap took

    shortening = offset - difference

and its length is what was trapped. The rules:

- the first comparison before sewing counts, whatever came after it. A later one follows a take-in or let-out that was
  itself worked out from the first, and shares its mark: it is no trial of its own. What a tack draws up is not the
  trap's;
- what was stepped back on, or made of a piece that was scrapped, does not count: the job's own fold says what stands;
- the standard uncertainty has the plan's terms for the mark, the eye and the comparing pulls and, for a difference of
  whole sixteenths of an inch, that of the rounding (1/16 in / sqrt 12; JCGM 100:2008, F.2.2.1). A term without its data
  is left out and named; what it leaves is then part of the scatter;
- a mark or a comparison whose pull nobody measured, and a trap that was not set, make no trial: it is shown, with why;
- a trap that would have shortened its host by all its length, or lengthened it, was marked or compared wrongly;
- a link end, a joint and a loop in mid-line are seen by no comparison of their own, and teach nothing;
- a trial left out by a named person stays to be seen, with the reason; the last that was said of it counts.

>>> from station.bench.job import example_opening
>>> jobs = {("Bench 1", "26-0001"): [Filed("Bench 1", seq, "", fact) for seq, fact in enumerate([
...     example_opening(),
...     MarkMade(job="26-0001", step="A canopy end: mark", trap="A canopy end", mark="entry", line="A",
...              offset_um=7938, pull_mn=44_000),
...     TrapMade(job="26-0001", step="A canopy end: trap", trap="A canopy end", host="A", guest="A", trap_um=127_000),
...     TrapSet(job="26-0001", step="A canopy end: set", trap="A canopy end", pull_mn=45_000),
...     LineCompared(job="26-0001", step="A: compare 1", line="A", method="in turn", difference_um=1588,
...                  reference_pull_mn=44_000, line_pull_mn=44_100, after_sewing=False)], 1)]}
>>> [one] = trials_of_jobs(jobs).trials
>>> round(one.trial.shortening_m, 6), round(one.uncertainty_m, 6), one.unknown, one.counts
(0.00635, 0.000458, ('mark', 'eye', 'comparing'), True)
>>> one.trial.made
'job 26-0001, A canopy end, entries 2, 3, 5 of Bench 1'
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from station.bench.job import JobState, fold
from station.faults import is_fault
from station.linework.allowance import material_of
from station.linework.line_plan import LinePlan, Step
from station.linework.shrinkage import Estimate, estimate, first_value_of
from station.records.archive import Archive
from station.records.entries import (
    Entry,
    JobOpened,
    LineCompared,
    MarkMade,
    PieceCut,
    TrapMade,
    TrapSet,
    TrialCounted,
    TrialLeftOut,
)
from station.records.job_names import JobNames
from station.records.rows import Row, as_filed
from station.settings.materials import materials
from station.settings.trials import Trial
from station.units import factor

_KINDS = (
    "job-opened",
    "piece-cut",
    "piece-scrapped",
    "mark-made",
    "trap-made",
    "trap-set",
    "line-compared",
    "adjusted",
    "stepped-back",
)
_TERMS = ("mark", "eye", "comparing")  # of a line's budget: those that a comparison has its error from
_SIXTEENTH_UM = float(factor("in", "length")) / 16 * 1e6


@dataclass(frozen=True)
class Filed:
    """A fact with its bench, its number in that bench's chain and when it was filed, as UTC text."""

    bench: str
    seq: int
    at: str
    fact: Entry


Jobs = Mapping[tuple[str, str], Sequence[Filed]]  # by the bench it was opened at and job, each as filed


@dataclass(frozen=True)
class LearnedTrial:
    """One trap as a trial: what it was worked out from, and whether it counts.

    `terms_m` are the standard uncertainties of what is known of the measuring, `unknown` names the terms left out.
    `entries` are the numbers of the mark, the trap and the comparison. `why_not` says why it is no trial, '' where it
    is one; `left_out` is the last that a person said of it.
    """

    bench: str
    job: str
    at: str
    line: str
    trap: str
    offset_m: float
    difference_m: float
    trap_m: float
    material: str
    lot: str
    terms_m: Mapping[str, float]
    unknown: tuple[str, ...]
    entries: tuple[int, int, int]
    why_not: str = ""
    left_out: TrialLeftOut | None = None

    @property
    def uncertainty_m(self) -> float | None:
        """Give the standard uncertainty of the shortening as measured; None where nothing is known of it."""
        return math.hypot(*self.terms_m.values()) or None

    @property
    def counts(self) -> bool:
        """Tell whether it counts among the trials."""
        return not self.why_not and self.left_out is None

    def told(self, counts: bool, by: str, reason: str) -> TrialCounted | TrialLeftOut:
        """Give what is filed where somebody lets it count, or leaves it out."""
        return (TrialCounted if counts else TrialLeftOut)(
            of_job=self.job,
            trap=self.trap,
            trap_seq=self.entries[1],
            by=by.strip(),
            reason=reason.strip(),
            of_bench=self.bench,
        )

    @property
    def trial(self) -> Trial:
        """Give it as a trial."""
        return Trial(
            trap_m=self.trap_m,
            shortening_m=round(self.offset_m - self.difference_m, 6),  # filed in whole micrometres
            lot=self.lot,
            material=self.material,
            standard_uncertainty_m=self.uncertainty_m,
            made=f"job {self.job}, {self.trap}, entries {', '.join(map(str, self.entries))} of {self.bench}",
        )


@dataclass(frozen=True)
class Learned:
    """Everything an archive's jobs say, oldest first, which could not be read, in words, and what jobs are called."""

    trials: tuple[LearnedTrial, ...]
    unread: tuple[str, ...] = ()
    names: JobNames = field(default_factory=lambda: JobNames({}))

    def counted(self) -> list[Trial]:
        """Give the trials that count."""
        return [each.trial for each in self.trials if each.counts]


def read_jobs(archive: Archive, *others: str) -> tuple[Jobs, list[str]]:
    """Give every job's facts that say which lines were made and compared, and which entries cannot be read, in words.

    `others` are further kinds to read; what belongs to no job is under the job ''.
    """
    rows = list(archive.of_kind(*_KINDS, *others))
    opened: dict[str, set[str]] = {}
    for row in rows:
        if row.kind == "job-opened":
            opened.setdefault(row.job, set()).add(row.bench)
    apart: dict[tuple[str, str], list[Row]] = {}
    for row in rows:  # what one bench opened may go on at another, as where a bench's name was changed
        at = opened.get(row.job, set())
        apart.setdefault((min(at) if len(at) == 1 else row.bench, row.job), []).append(row)
    jobs: dict[tuple[str, str], list[Filed]] = {}
    unread: list[str] = []
    for key, ours in apart.items():
        for row in as_filed(ours):
            try:
                jobs.setdefault(key, []).append(Filed(row.bench, row.seq, row.at, row.entry))
            except ValueError as fault:
                unread.append(f"entry {row.seq} of {row.bench}: {fault}")
    return jobs, unread


def folded(jobs: Jobs, unread: list[str]) -> Iterator[tuple[str, JobState, Sequence[Filed]]]:
    """Give each job with a plan as its facts leave it, with its bench; add those that cannot be read to `unread`."""
    for (bench, job), filed in jobs.items():
        opened = filed[0].fact
        if not job or (isinstance(opened, JobOpened) and not opened.plan_toml):
            continue  # what belongs to no job, or a hold by itself, without lines
        if not isinstance(opened, JobOpened):
            unread.append(f"job {job} of {bench}: its opening is not here")
            continue
        try:
            state = fold((each.seq, each.fact) for each in filed)
        except Exception as fault:
            if not is_fault(fault):
                raise
            unread.append(f"job {job} of {bench}: {fault}")
            continue
        yield bench, state, filed


def learned(archive: Archive) -> Learned:
    """Give what an archive's jobs say, of every bench."""
    jobs, unread = read_jobs(archive, "trial-left-out", "trial-counted")
    return replace(trials_of_jobs(jobs, unread), names=archive.job_names())


def trials_of_jobs(jobs: Jobs, unread: Sequence[str] = ()) -> Learned:
    """Give the trials of jobs, oldest first, and which jobs cannot be read."""
    told = [(each.at, each.bench, each.seq, each.fact) for filed in jobs.values() for each in filed]
    said: dict[tuple[str, str, str, int], TrialLeftOut | None] = {}
    for _, bench, _, out in sorted(told, key=lambda each: each[:3]):  # the last counts, in whatever chain it stands
        if isinstance(out, TrialLeftOut | TrialCounted):
            of = out.of_bench or bench, out.of_job, out.trap, out.trap_seq
            said[of] = out if isinstance(out, TrialLeftOut) else None
    found: list[LearnedTrial] = []
    wrong = list(unread)
    for _, state, filed in folded(jobs, wrong):
        number = {id(each.fact): each for each in filed}
        for plan in state.plans:
            for step in plan.steps:
                one = _trial(state, plan, step, number) if step.end == "canopy end" else None
                if one is not None:
                    found.append(replace(one, left_out=said.get((one.bench, one.job, one.trap, one.entries[1]))))
    found.sort(key=lambda each: (each.at, each.bench, each.entries))
    return Learned(tuple(found), tuple(wrong))


def together(found: Learned) -> list[tuple[tuple[str, str], Sequence[LearnedTrial], Estimate]]:
    """Give what the trials that count say, apart for each material and lot, upon the model of a known braid."""
    apart: dict[tuple[str, str], list[LearnedTrial]] = {}
    for each in found.trials:
        if each.counts:
            apart.setdefault((each.material, each.lot), []).append(each)
    firsts = {name: first_value_of(known) for name, known in materials().items()}
    return [
        (stock, traps, estimate([each.trial for each in traps], firsts.get(stock[0]))) for stock, traps in apart.items()
    ]


def stock_words(material: str, lot: str) -> str:
    """Name a material and a lot."""
    return f"{material or 'material not named'}, {f'lot {lot}' if lot else 'no lot'}"


def stock_of(state: JobState, line_name: str) -> tuple[str, str]:
    """Give the material and the lot of a line: that of the piece cut, else the plan's, else the job's; '' unknown.

    The leg of a loop, cut as a piece of its own, is of its line's stock.
    """
    hosts = {step.leg_piece: step.host for plan in state.plans for step in plan.steps if step.leg_piece}
    name = hosts.get(line_name, line_name)
    plan = next(plan for plan in state.plans if any(each.name == name for each in plan.settings.lines))
    line = next(each for each in plan.settings.lines if each.name == name)
    material = material_of(plan.settings, line)
    cut = state.done.get(f"{line_name}: cut")
    lots = cut.lot if isinstance(cut, PieceCut) else "", line.lot, str(state.opened.stock.get("lot") or "")
    return material.name if material is not None else "", next(filter(None, lots), "")


def _trial(state: JobState, plan: LinePlan, step: Step, number: Mapping[int, Filed]) -> LearnedTrial | None:
    """Give the trial that a canopy end's trap is by now; None where it has not been made and compared."""
    mark, made = state.done.get(f"{step.trap}: mark"), state.done.get(f"{step.trap}: trap")
    compared = state.comparisons.get(step.guest, ())
    if not isinstance(mark, MarkMade) or not isinstance(made, TrapMade) or not compared:
        return None
    first = compared[0]
    filed = [number[id(each)] for each in (mark, made, first)]
    material, lot = stock_of(state, step.guest)
    budget_m = next(each for each in plan.lines if each.name == step.guest).budget_m
    terms_m = {term: budget_m[term] for term in _TERMS if term in budget_m}
    sixteenths = first.difference_um / _SIXTEENTH_UM
    if first.line_gauge_um is None and abs(sixteenths - round(sixteenths)) < 1 / 1000:
        terms_m["rounding"] = _SIXTEENTH_UM / 1e6 / math.sqrt(12)
    found = LearnedTrial(
        bench=filed[1].bench,
        job=state.opened.job,
        at=filed[2].at,
        line=step.guest,
        trap=step.trap,
        offset_m=mark.offset_um / 1e6,
        difference_m=first.difference_um / 1e6,
        trap_m=made.trap_um / 1e6,
        material=material,
        lot=lot,
        terms_m=terms_m,
        unknown=tuple(term for term in _TERMS if term not in budget_m),
        entries=(filed[0].seq, filed[1].seq, filed[2].seq),
        why_not=_why_not(state, step, mark, first, filed),
    )
    impossible = found.trial.impossible
    return replace(found, why_not=f"{impossible}, which no trap does") if impossible and not found.why_not else found


def _why_not(state: JobState, step: Step, mark: MarkMade, first: LineCompared, filed: Sequence[Filed]) -> str:
    if len({each.bench for each in filed}) > 1:
        return "its mark, trap and comparison stand in the chains of different benches"
    seqs = [each.seq for each in filed]
    if sorted(seqs) != seqs:
        return "its mark, trap and comparison are not in the order of the work"
    if not isinstance(state.done.get(f"{step.trap}: set"), TrapSet):
        return "the trap was not set before it was compared"
    if mark.pull_mn is None:
        return "the pull it was marked under was not measured"
    if first.reference_pull_mn is None or first.line_pull_mn is None:
        return "the pulls it was compared under were not measured"
    return ""
