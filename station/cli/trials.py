"""`fidbench trials`: what the archive's own jobs say of how much a trap shortens its host."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import archive_option, as_json, print_json, say, warn

if TYPE_CHECKING:
    from station.learned import Learned
    from station.units import LengthSystem


@click.command()
@archive_option
@click.option("--material", metavar="NAME", help="Only trials of this host material.")
@click.option("--lot", metavar="LOT", help="Only trials of this lot.")
@click.option("--csv", "csv_file", metavar="FILE", help="Write the trials that count, for a plan and for shrinkage.")
@click.option("--leave-out", "leave_out", type=int, metavar="ENTRY", help="Leave a trial out: the entry of its trap;")
@click.option("--count-again", "again", type=int, metavar="ENTRY", help="or let one that was left out count again;")
@click.option("--by", metavar="NAME", help="who says so,")
@click.option("--reason", metavar="TEXT", help="and why.")
@click.option("--bench", metavar="NAME", help="Whose entry that is, where the archive holds several benches.")
@click.option(
    "--as",
    "desk",
    metavar="NAME",
    help="The chain to file that in, as Office: in an archive gathered from a bench, whose own is written there alone.",
)
@click.option("--metric", is_flag=True, help="Print millimetres.")
@as_json
def trials(
    where: str,
    material: str | None,
    lot: str | None,
    csv_file: str | None,
    leave_out: int | None,
    again: int | None,
    by: str | None,
    reason: str | None,
    bench: str | None,
    desk: str | None,
    metric: bool,
    as_json: bool,
) -> int:
    """List what each trap made in a job says of the shortening, where it came from, and what they say together.

    With --leave-out or --count-again file that instead. Exit status 0; 1 when no trial counts; 2 when the archive
    cannot be read.
    """
    from station.learned import learned, stock_words
    from station.records.archive import Archive
    from station.records.rows import plain

    with Archive.open(where) as archive:
        found = learned(archive)
    if leave_out is not None or again is not None:
        if leave_out is not None and again is not None:
            raise click.UsageError("give --leave-out or --count-again, not both")
        said = _file(where, found, leave_out, again, by, reason, bench, desk)
        warn(said)
        with Archive.open(where) as archive:
            found = learned(archive)
    elif by is not None or reason is not None or desk is not None:
        raise click.UsageError(
            "found --by, --reason or --as without --leave-out or --count-again, which they belong to"
        )
    every = found.trials
    chosen = [
        each
        for each in every
        if (material is None or each.material == material) and (lot is None or plain(each.lot) == plain(lot))
    ]
    for each in found.unread:
        warn(f"fidbench: not read: {each}")
    found = replace(found, trials=tuple(chosen))
    if csv_file is not None:
        _write(csv_file, found)
    if as_json:
        print_json(trials_answer(found))
    elif every and not chosen:
        kinds = ", ".join(dict.fromkeys(stock_words(each.material, each.lot) for each in every))
        say(f"No trial here is of such a material and lot; those here are of: {kinds}.")
    else:
        say(trials_text(found, "metric" if metric else "imperial"))
    return 0 if found.counted() else 1


def _file(
    where: str,
    found: Learned,
    leave_out: int | None,
    again: int | None,
    by: str | None,
    reason: str | None,
    bench: str | None,
    desk: str | None,
) -> str:
    """File that a trial is left out, or counts again; give what to say of it."""
    from station.filing import Filer
    from station.records.archive import Archive

    number = leave_out if leave_out is not None else again
    if not (by or "").strip() or not (reason or "").strip():
        raise click.UsageError("expected --by NAME and --reason TEXT: who says so, and why")
    there = [each for each in found.trials if bench in {None, each.bench}]
    if not there and found.trials:
        benches = ", ".join(dict.fromkeys(each.bench for each in found.trials))
        raise click.UsageError(f"no trial was made at {bench!r}; those here are of {benches}")
    ours = [each for each in there if number == each.entries[1]]
    if len(ours) > 1:
        benches = ", ".join(each.bench for each in ours)
        raise click.UsageError(f"entry {number} is a trap at {benches}: name one with --bench")
    if not ours:
        known = ", ".join(dict.fromkeys(str(each.entries[1]) for each in there)) or "none"
        raise click.UsageError(f"entry {number} is no trap of a trial; the traps' entries are {known}")
    one = ours[0]
    if leave_out is not None and one.left_out is not None:
        raise click.UsageError(f"{one.trap} of job {one.job} is left out already, by {one.left_out.by}")
    if leave_out is None and one.left_out is None:
        raise click.UsageError(f"{one.trap} of job {one.job} was not left out")
    with Archive.open(where) as archive:
        chains = list(archive.heads())
    if desk is None and len(chains) > 1:
        raise click.UsageError(
            f"this archive holds the chains of {', '.join(chains)}, and a bench's chain is written at that bench "
            "alone: say --as 'Office', or another name of your own, for a chain of what is said here"
        )
    fact = one.told(leave_out is None, str(by), str(reason))
    with Archive.open(where, bench=desk or one.bench) as archive:
        seq = Filer(archive)(fact)
    done = "left out" if leave_out is not None else "counts again"
    return f"entry {seq} of {desk or one.bench}: {one.trap} of job {one.job} {done}"


def trials_answer(found: Learned) -> dict[str, Any]:
    """Give the trials as `trials --json` prints them."""
    from station.learned import together

    return {
        "trials": [
            {
                "bench": each.bench,
                "job": each.job,
                "at": each.at,
                "line": each.line,
                "trap": each.trap,
                "entries": dict(zip(("mark", "trap", "compared"), each.entries, strict=True)),
                "material": each.material,
                "lot": each.lot,
                "trap_m": each.trap_m,
                "left_long_m": each.offset_m,
                "difference_m": each.difference_m,
                "shortening_m": each.trial.shortening_m,
                "standard_uncertainty_m": each.uncertainty_m,
                "terms_m": dict(each.terms_m),
                "unknown": list(each.unknown),
                "counts": each.counts,
                "why_not": each.why_not or None,
                "left_out": {"by": each.left_out.by, "reason": each.left_out.reason} if each.left_out else None,
            }
            for each in found.trials
        ],
        "kinds": [
            {
                "material": material,
                "lot": lot,
                "n": made.n,
                "coefficient": made.shrinkage.coefficient,
                "standard_uncertainty": made.shrinkage.standard_uncertainty,
                "scatter_m": made.shrinkage.scatter_m,
            }
            for (material, lot), _, made in together(found)
        ],
        "unread": list(found.unread),
    }


def trials_text(found: Learned, system: LengthSystem = "imperial") -> str:
    """Give the trials as a rigger reads them."""
    from station.cli.line_words import shrinkage_text
    from station.learned import stock_words, together
    from station.linework.plan_words import COMES_FIRST
    from station.units import length_text

    def said(length_m: float) -> str:
        return length_text(length_m, system, 32)

    if not found.trials:
        return (
            "No job here has a trap at a canopy end that was marked, set and compared: nothing is learned yet.\n"
            + COMES_FIRST
        )
    table = [
        ("job", "trap", "material", "lot", "trapped", "left long", "found", "shortened", "give or take", "entries")
    ]
    for each in found.trials:
        difference = "level"
        if each.difference_m:
            difference = f"{said(abs(each.difference_m))} {'long' if each.difference_m > 0 else 'short'}"
        sure = "not known" if each.uncertainty_m is None else said(each.uncertainty_m)
        table.append(
            (
                found.names.of(each.bench, each.job),
                each.trap,
                each.material or "-",
                each.lot or "-",
                said(each.trap_m),
                said(each.offset_m),
                difference,
                said(each.trial.shortening_m),
                sure + ("*" if each.unknown else ""),
                ", ".join(map(str, each.entries)),
            )
        )
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    rows = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in table]
    marked = [rows[0]]
    for each, row in zip(found.trials, rows[1:], strict=True):
        marked.append(row)
        if each.why_not:
            marked.append(f"    no trial: {each.why_not}")
        if each.left_out is not None:
            marked.append(f"    left out by {each.left_out.by}: {each.left_out.reason}")
    if any(each.unknown for each in found.trials):
        terms = dict.fromkeys(term for each in found.trials for term in each.unknown)
        marked.append(f"* without its plan's term for {', '.join(terms)}, which nobody gave: the scatter holds it")
    for (material, lot), traps, made in together(found):
        marked += ["", f"{stock_words(material, lot)}, around its like"]
        far = [traps[number - 1] for number in made.suspects]
        warnings = [
            f"{each.trap} of job {each.job}, entry {each.entries[1]} of {each.bench}, is far from the others, and "
            "still counted: look again"
            for each in far
        ]
        text = shrinkage_text(replace(made, suspects=()), None, warnings, system).splitlines()
        marked += [f"  {line}" for line in text if line != COMES_FIRST]
    return "\n".join([*marked, "", COMES_FIRST])


def _write(file: str, found: Learned) -> None:
    from station.settings.tables import SettingsFault
    from station.settings.trials import written

    try:
        Path(file).write_text(written(found.counted()), encoding="utf-8")
    except OSError as fault:
        raise SettingsFault(f"{file}: cannot be written: {fault.strerror}") from None
    n = len(found.counted())
    warn(f"{file}: {n} trial{'s' if n != 1 else ''} that count{'s' if n == 1 else ''}")
