"""Are the shop's lengths, holds and scales in control? The figures of an archive, charted in the order of the work.

What is charted, each with its unit:

- *final differences*: what each line of a signed-off job was left with, by its last comparison;
- *first-try differences*: what the first comparison before sewing found, before anything was moved;
- *hold means*: the mean pull of each hold that was held or unproven, as a share more or less than its target;
- *scale errors*: what a full check found at its target, and a daily check at its weight, as a share of the force.

Each figure carries the conditions it was made in: bench, rigger, material, lot, scale and the scale's last full check.
Where there is a signal, what had changed between the figure before it and its first is named; that is where to look,
and not yet the cause. Charted apart by a condition, each of its values is a chart of its own; scales that two benches
call the same are two. Names that are withheld cannot be told apart.

>>> changes([Figure(0.1, "", "B", 1, "26-0001", "A", {"lot": "L1", "rigger": "x"}),
...          Figure(0.9, "", "B", 2, "26-0002", "A", {"lot": "L2", "rigger": "x"})], Signal("jump", 1, 1))
[('lot', 'L1', 'L2')]
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

from station.bench.job import JobState, chain_of
from station.learned import Filed, Jobs, folded, read_jobs, stock_of
from station.linework.set_picture import Picture
from station.measuring.control import ENOUGH, FEWEST, Control, Signal, control, false_alarm_share
from station.records.archive import Archive
from station.records.control_picture import layout
from station.records.entries import DailyChecked, HoldJudged, JobOpened, PieceCut, ScaleChecked, SignedOff
from station.units import LengthSystem, length_text, percent_text

Of = Literal["final-differences", "first-try-differences", "hold-means", "scale-errors"]
By = Literal["bench", "rigger", "material", "lot", "scale"]
WHAT: tuple[Of, ...] = get_args(Of)
CONDITIONS: tuple[By, ...] = get_args(By)
NOT_TOLD = "not recorded"


@dataclass(frozen=True)
class Figure:
    """One figure: in metres, or as a share; when, in which entry of which job, of what, and in which conditions."""

    value: float
    at: str
    bench: str
    seq: int
    job: str
    what: str
    conditions: Mapping[str, str]


@dataclass(frozen=True)
class Charted:
    """Figures of one kind in the order of the work; `apart` is the condition's value they share, '' where all."""

    of: Of
    apart: str
    figures: tuple[Figure, ...]
    control: Control


def charts(archive: Archive, of: Of, by: By | None = None) -> tuple[list[Charted], list[str]]:
    """Chart an archive's figures, and say which of its jobs cannot be read; scale errors are apart by scale anyhow."""
    jobs, unread = read_jobs(archive, "scale-checked", "daily-checked", "hold-judged", "signed-off")
    checks: dict[tuple[str, str], list[str]] = {}
    for (bench, _), filed in jobs.items():
        for each in filed:
            if isinstance(each.fact, ScaleChecked):
                checks.setdefault((bench, each.fact.scale), []).append(each.at)
    if of == "scale-errors":
        found, by = list(_scale_errors(jobs)), by or "scale"
    elif of == "hold-means":
        found = list(_hold_means(jobs, unread))
    else:
        found = [
            figure for each in folded(jobs, unread) for figure in _differences(*each, final=of == "final-differences")
        ]
    found.sort(key=lambda each: (each.at, each.bench, each.seq))
    names = archive.job_names()
    known = [replace(_with_check(each, checks), job=names.of(each.bench, each.job)) for each in found]
    at: dict[str, set[str]] = {}  # the benches at which a scale is called so: one name at two of them is two scales
    for figure in known:
        at.setdefault(figure.conditions.get("scale", NOT_TOLD), set()).add(figure.bench)
    apart: dict[str, list[Figure]] = {}
    for figure in known:
        name = figure.conditions.get(by, f"{by} {NOT_TOLD}") if by else ""
        if by == "scale" and len(at.get(name, ())) > 1:
            name = f"{name}, {figure.bench}"
        apart.setdefault(name, []).append(figure)
    return [
        Charted(of, name, tuple(figures), control([each.value for each in figures])) for name, figures in apart.items()
    ], unread


def changes(figures: Sequence[Figure], signal: Signal) -> list[tuple[str, str, str]]:
    """Name the conditions that changed between the figure before a signal and its first, with both values."""
    if signal.first == 0:
        return []
    before, after = figures[signal.first - 1].conditions, figures[signal.first].conditions
    keys = dict.fromkeys([*before, *after])
    return [
        (key, before.get(key, NOT_TOLD), after.get(key, NOT_TOLD))
        for key in keys
        if before.get(key, NOT_TOLD) != after.get(key, NOT_TOLD)
    ]


def _with_check(figure: Figure, checks: Mapping[tuple[str, str], Sequence[str]]) -> Figure:
    """Give a figure with the last full check of its scale before it among its conditions."""
    scale = figure.conditions.get("scale")
    if scale is None:
        return figure
    made = checks.get((figure.bench, scale), ())
    before = bisect_left(made, figure.at)
    told = f"of {made[before - 1][:10]}, {made[before - 1][11:16]} UTC" if before else "none before"
    return replace(figure, conditions={**figure.conditions, "scale check": told})


def _conditions(bench: str, opened: JobOpened | None, material: str, lot: str, scale: str) -> dict[str, str]:
    rigger = str(opened.people.get("worker") or "") if opened is not None else ""
    told = {"bench": bench, "rigger": rigger, "material": material, "lot": lot, "scale": scale}
    return {key: words for key, words in told.items() if words}


def _differences(_: str, state: JobState, filed: Sequence[Filed], final: bool) -> Iterator[Figure]:
    """Give the differences of a job's lines: what each was left with, where it is signed off, or was found first."""
    if final and not any(isinstance(each.fact, SignedOff) for each in filed):
        return
    number = {id(each.fact): each for each in filed}
    for line in (line for plan in state.plans for line in plan.lines):
        before = state.comparisons.get(chain_of(line.name, after_sewing=False), ())
        after = state.comparisons.get(chain_of(line.name, after_sewing=True), ())
        chosen = (*before, *after)[-1:] if final else before[:1]
        for found in chosen:
            entry = number[id(found)]
            before_it = filed[: filed.index(entry)]
            holds = [each.fact.scale for each in before_it if isinstance(each.fact, HoldJudged)]
            told = _conditions(entry.bench, state.opened, *stock_of(state, line.name), holds[-1] if holds else "")
            what = f"line {line.name}"
            yield Figure(found.difference_um / 1e6, entry.at, entry.bench, entry.seq, state.opened.job, what, told)


def _hold_means(jobs: Jobs, unread: list[str]) -> Iterator[Figure]:
    stock: dict[tuple[str, str, str], tuple[str, str]] = {}
    for bench, state, filed in folded(jobs, unread):
        for cut in (each.fact for each in filed if isinstance(each.fact, PieceCut)):
            material, lot = stock_of(state, cut.line)
            stock[bench, cut.job, cut.piece] = material, cut.lot or lot
    for (bench, job), filed in jobs.items():
        opened = filed[0].fact if isinstance(filed[0].fact, JobOpened) else None
        unknown = "", str(opened.stock.get("lot") or "") if opened is not None else ""
        for each in filed:
            hold = each.fact
            if not isinstance(hold, HoldJudged) or hold.judgement["verdict"] not in {"held", "unproven"}:
                continue
            mean_mn = hold.judgement["sum_mn"] / hold.judgement["count"]
            material, lot = next((stock[bench, job, one] for one in hold.pieces if (bench, job, one) in stock), unknown)
            told = _conditions(each.bench, opened, material, lot, hold.scale)
            told["hold"] = str(hold.specification.get("name") or NOT_TOLD)
            value = mean_mn / hold.specification["target_mn"] - 1
            what = f"piece {', '.join(hold.pieces)}" if hold.pieces else "no piece named"
            yield Figure(value, each.at, each.bench, each.seq, job, what, told)


def _scale_errors(jobs: Jobs) -> Iterator[Figure]:
    for (bench, job), filed in jobs.items():
        for each in filed:
            check = each.fact
            if isinstance(check, ScaleChecked) and check.target_mn > 0:
                value, what, by = check.uncertainty.get("error_un", 0) / 1000 / check.target_mn, "full check", check.by
            elif isinstance(check, DailyChecked) and check.known_mn > 0:
                value, what, by = (check.indicated_mn - check.known_mn) / check.known_mn, "daily check", ""
            else:
                continue
            told = {"bench": bench, "scale": check.scale, **({"rigger": by} if by else {})}
            yield Figure(value, each.at, bench, each.seq, job, what, told)


TITLES: Mapping[str, str] = {
    "final-differences": "Final differences",
    "first-try-differences": "First-try differences",
    "hold-means": "Hold means",
    "scale-errors": "Scale errors",
}
_ABOUT: Mapping[Of, str] = {
    "final-differences": "what each line of a signed-off job was left with, against its reference",
    "first-try-differences": "what the first comparison of each line found, before anything was moved",
    "hold-means": "mean pull of each hold, more or less than its target",
    "scale-errors": "what the scale showed, more or less than the known force",
}


def title(charted: Charted) -> str:
    """Name a chart."""
    return "  ·  ".join(filter(None, (TITLES[charted.of], charted.apart)))


def said(of: Of, system: LengthSystem) -> Callable[[float], str]:
    """Give how a figure is written: a length long or short, or per cent more or less."""

    def length(value: float) -> str:
        if not value:
            return "level"
        return f"{length_text(abs(value), system, 32)} {'long' if value > 0 else 'short'}"

    return length if of.endswith("differences") else lambda value: percent_text(value, 2, signed=True)


def verdict_words(charted: Charted) -> str:
    """Say whether a chart is in control, of how many figures, and how much that is worth."""
    found, n = charted.control, len(charted.figures)
    count = f"{n} figure{'s' if n != 1 else ''}: {_ABOUT[charted.of]}"
    if found.limits is None:
        why = f"limits need {FEWEST} figures" if n < FEWEST else "all are the same, so there is no spread to go by"
        return f"Not known whether in control: {why}. {count[0].upper()}{count[1:]}."
    many = len(found.signals)
    state = "In control." if not many else f"OUT OF CONTROL: {many} signal{'s' if many > 1 else ''}."
    early = f" Limits are provisional below {ENOUGH} figures." if found.provisional else ""
    return f"{state}{early} {count[0].upper()}{count[1:]}."


def false_alarm_words(charted: Charted) -> str:
    """Say the rules, and how often they speak though nothing is wrong."""
    percent = 100 * false_alarm_share(len(charted.figures))
    return (
        "Signals: a figure beyond a limit, eight in a row on one side of the mean, a jump above the range limit. With "
        f"nothing wrong, about {percent:.0f} of 100 charts of so many figures show one all the same (simulated, normal "
        "figures): a signal says where to look, not what is wrong."
    )


def signal_words(charted: Charted, system: LengthSystem) -> list[str]:
    """Say each signal: which figures, what rule, and what had changed before it."""
    write = said(charted.of, system)
    rows = []
    for signal in charted.control.signals:
        first, last = charted.figures[signal.first], charted.figures[signal.last]
        place = f"{signal.first + 1}: {_place(first)}, {write(first.value)}"
        match signal.rule:
            case "beyond a limit":
                what = f"{place}, beyond the {'upper' if first.value > charted.control.centre else 'lower'} limit"
            case "jump":
                before = charted.figures[signal.first - 1]
                what = f"{place}, a jump from {write(before.value)} of the one before"
            case _:
                side = "above" if first.value > charted.control.centre else "below"
                many = signal.last - signal.first + 1
                what = f"{signal.first + 1} to {signal.last + 1}: {_place(first)} to {_place(last)}, "
                what += f"{many} in a row {side} the mean"
        changed = [f"{key} {before} → {after}" for key, before, after in changes(charted.figures, signal)]
        none = "nothing recorded had changed" if signal.first else "there is nothing before it"
        rows.append(
            f"{what}. {'Changed since the one before: ' + '; '.join(changed) if changed else none.capitalize()}."
        )
    return rows


def _place(figure: Figure) -> str:
    job = f"job {figure.job}, " if figure.job else ""
    return f"{job}{figure.what}, {figure.at[:10]}, entry {figure.seq}"


def rows(charted: Charted, system: LengthSystem = "imperial") -> list[tuple[str, ...]]:
    """Give every figure as a row of a table: number, job, of what, figure, when with entry, conditions."""
    write = said(charted.of, system)
    return [
        (
            str(n),
            each.job,
            each.what,
            write(each.value),
            f"{each.at[:16].replace('T', ' ')}, {each.seq}",
            "; ".join(f"{key} {words}" for key, words in each.conditions.items()),
        )
        for n, each in enumerate(charted.figures, 1)
    ]


def chart_picture(charted: Charted, system: LengthSystem = "imperial", on_paper: float | None = None) -> Picture:
    """Lay out a chart with its words, for SVG, window, or so wide for paper."""
    return layout(
        charted.control,
        title(charted),
        verdict_words(charted),
        [each.at[:10] for each in charted.figures],
        "length" if charted.of.endswith("differences") else "share",
        said(charted.of, system),
        lambda value: said(charted.of, system)(value).removesuffix(" long").removeprefix("+"),
        signal_words(charted, system),
        false_alarm_words(charted),
        system,
        on_paper,
    )
