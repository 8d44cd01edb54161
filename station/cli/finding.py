"""`fidbench records find`, `records revisit` and `records gather`: over many jobs, a bad scale's holds, many benches.

`revisit` ends with 1 where a verdict gets worse or can no longer be had, else with 0.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import FORCE, archive_option, as_json, print_json, say, say_table
from station.records.words import DEFERRAL, VERDICTS, count, time_text, value
from station.units import force_text

if TYPE_CHECKING:
    from station.measuring.hold import ScaleUncertainty
    from station.records.archive import Archive
    from station.records.register import Found, JobLine
    from station.records.revisit import Doubt, Revisited

HEADS = ("job", "opened", "what", "canopy", "worked", "holds", "state")


class Day(click.ParamType[str]):
    """An option that is a day, as 2026-03-04."""

    name = "day"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Read the option's text."""
        try:
            return datetime.date.fromisoformat(value).isoformat()
        except ValueError:
            self.fail(f"found {value!r}, expected a day such as 2026-03-04", param, ctx)


DAY = Day()


@click.command()
@archive_option
@click.option("--canopy", metavar="TEXT", help="A part of its make, type, size or kind.")
@click.option("--serial", metavar="NUMBER", help="The canopy's whole serial number.")
@click.option("--owner", metavar="NAME", help="A part of the owner's name.")
@click.option("--line", metavar="LINE", help="A line's number or side, as in A2, or left A2; also of a set or cascade.")
@click.option("--lot", metavar="LOT", help="The lot of the line or the thread: everything made from it.")
@click.option("--rigger", metavar="NAME", help="A part of the name of who worked, supervised, inspected or signed.")
@click.option("--from", "first_day", type=DAY, metavar="DAY", help="Opened on this day (UTC) or later.")
@click.option("--to", "last_day", type=DAY, metavar="DAY", help="Opened on this day (UTC) or before.")
@as_json
def find(
    where: str,
    canopy: str | None,
    serial: str | None,
    owner: str | None,
    line: str | None,
    lot: str | None,
    rigger: str | None,
    first_day: str | None,
    last_day: str | None,
    as_json: bool,
) -> int:
    """Find jobs by canopy, serial number, owner, line, lot, rigger or day; everything asked must be true of a job."""
    import difflib

    from station.records.archive import Archive
    from station.records.register import Asked, find, lots
    from station.records.rows import plain

    asked = Asked(canopy, serial, line, lot, rigger, first_day, last_day, owner)
    if asked == Asked():
        raise click.UsageError("name something to find, such as --lot or --serial; records list names every job")
    if any(each is not None and not each.strip() for each in (canopy, serial, owner, line, lot, rigger)):
        raise click.UsageError("found an empty word to find; say what is looked for, or leave the option out")
    if first_day is not None and last_day is not None and first_day > last_day:
        raise click.UsageError(f"found --from {first_day} after --to {last_day}; expected the earlier day first")
    near: list[str] = []
    with Archive.open(where) as archive:
        found = find(archive, asked)
        if not found and lot is not None:
            known = {plain(each): each for each in lots(archive)}
            near = [known[each] for each in difflib.get_close_matches(plain(lot), known, 3)]
    if as_json:
        print_json({"jobs": [_answer(each, lot) for each in found], "near_lots": near})
        return 0
    if not found:
        say("No job here is such a one." + (f" Lots that read nearly the same: {', '.join(near)}." if near else ""))
        return 0
    of_lot = lot is not None
    say_table([(*HEADS, *(("of this lot",) if of_lot else ())), *(_cells(each, of_lot) for each in found)])
    pieces = sum(len(each.pieces) for each in found)
    say(f"\n{count(len(found), 'job')}" + (f", {count(pieces, 'piece')} of lot {lot}" if of_lot else "") + ".")
    return 0


def _answer(found: Found, lot: str | None) -> dict[str, Any]:
    more = {} if lot is None else {"pieces": list(found.pieces), "thread": found.thread}
    return found.line.answer() | more


def _cells(found: Found, of_lot: bool) -> list[str]:
    cells = cells_of(found.line)
    if of_lot:
        told = [f"piece {', '.join(found.pieces)}"] if found.pieces else []
        told += ["thread"] if found.thread else []
        cells.append("; ".join(told) or "no piece cut from it")
    return cells


def cells_of(line: JobLine) -> list[str]:
    """Give a job's line as the cells of a table under `HEADS`."""
    state = f"signed off {line.signed_off[:10]}" if line.signed_off else "open"
    answer = line.answer()
    told = [answer["what"], answer["canopy"], answer["worked"], line.holds, state]
    return [value(each) for each in (line.job, line.opened[:16].replace("T", " ") or None, *told)]


@click.command()
@archive_option
@click.option("--scale", required=True, metavar="NAME", help="The scale, as the station file names it.")
@click.option("--bench", metavar="NAME", help="The bench it stands at, where benches call several scales the same.")
@click.option(
    "--uncertainty", type=FORCE, metavar="FORCE", help="How well it is known now, as in '0.5 lbf' (expanded)."
)
@click.option("--since", type=DAY, metavar="DAY", help="Every hold since this day (UTC), whatever was checked.")
@click.option("--workers", type=click.IntRange(1), metavar="N", help="How many processes; as many as help.")
@as_json
def revisit(
    where: str,
    scale: str,
    bench: str | None,
    uncertainty: Fraction | None,
    since: str | None,
    workers: int | None,
    as_json: bool,
) -> int:
    """List the holds made with a scale since its last good check, judged again with less trust in it.

    Without --uncertainty, with what the failed check showed. Exit status 1 when a verdict gets worse or a hold cannot
    be judged again, 0 when none does.
    """
    from station.measuring.hold import typed_uncertainty
    from station.records.archive import Archive
    from station.records.register import register
    from station.records.revisit import doubts, in_doubt
    from station.records.workers import revisited

    if uncertainty is not None and uncertainty <= 0:
        raise click.BadParameter("expected a force above 0, as in '0.5 lbf'", param_hint="--uncertainty")
    typed = None if uncertainty is None else typed_uncertainty(round(uncertainty * 1000), uncertainty)
    found: list[tuple[Doubt, ScaleUncertainty, list[Revisited]]] = []
    unasked: list[str] = []
    lines: dict[str, JobLine] = {}
    with Archive.open(where) as archive:
        names = archive.job_names()
        in_question = doubts(archive, scale, bench)
        if not in_question:
            at = f" at {bench!r}" if bench else ""
            known = ", ".join(_scales(archive)) or "none"
            raise click.BadParameter(f"found no scale {scale!r}{at}; filed here: {known}", param_hint="--scale")
        for doubt in in_question:
            trust = typed or doubt.uncertainty
            if trust is None:
                unasked.append(doubt.bench)
                continue
            holds = in_doubt(archive, scale, doubt, since)
            known_mn = None if typed else doubt.known_mn
            with closing(revisited(archive, holds, trust, known_mn, workers)) as judged:
                again = [replace(each, job=names.of(each.bench, each.job)) for each in judged]
            found.append((doubt, trust, again))
        if not found:
            what = f"no check of this scale failed at {' or at '.join(unasked)}; say how well it is known now"
            raise click.UsageError(f"{what}: --uncertainty '0.5 lbf'")
        jobs = sorted({each.job for _, _, again in found for each in again})
        lines = {line.job: line for line in register(archive, jobs)}
    bad = sum(each.worse for _, _, again in found for each in again)
    if as_json:
        benches = [_bench_answer(*each, lines) for each in found]
        print_json({"scale": scale, "worse": bad, "benches": benches, "no_failed_check": unasked})
    else:
        for each in found:
            _say_bench(scale, since, *each, lines)
        for name in unasked:
            say(f"\n{scale}, {name}: no check failed there, and no hold was judged again.")
            say("  Is it the same scale? Say how well it is known now: --uncertainty '0.5 lbf'")
    return 1 if bad else 0


def _scales(archive: Archive) -> list[str]:
    kinds = ("hold-judged", "scale-checked", "daily-checked")
    return sorted({each.told[0] for kind in kinds for each in archive.said(kind, ("entry.scale",))})


def _bench_answer(
    doubt: Doubt, trust: ScaleUncertainty, again: Sequence[Revisited], lines: Mapping[str, JobLine]
) -> dict[str, Any]:
    return {
        "bench": doubt.bench,
        "good_at": doubt.good_at,
        "failed_at": doubt.failed_at,
        "again_at": doubt.again_at,
        "uncertainty": trust.expanded_mn / 1000,
        "holds": [
            {
                "job": each.job,
                "seq": each.seq,
                "at": each.at or None,
                "pieces": list(each.pieces),
                "canopy": lines[each.job].canopy.get("type") if each.job in lines else None,
                "serial": lines[each.job].canopy.get("serial") if each.job in lines else None,
                "recorded": each.recorded or None,
                "now": each.now,
                "worse": each.worse,
                "why": each.trouble or each.limit or None,
            }
            for each in again
        ],
    }


def _say_bench(
    scale: str,
    since: str | None,
    doubt: Doubt,
    trust: ScaleUncertainty,
    again: Sequence[Revisited],
    lines: Mapping[str, JobLine],
) -> None:
    say(f"{scale}, {doubt.bench}")
    if since is not None:
        say(f"  holds since {since}")
    else:
        say(f"  last good check before: {time_text(doubt.good_at) if doubt.good_at else 'none filed'}")
        say(f"  failed check:           {time_text(doubt.failed_at) if doubt.failed_at else 'none filed'}")
        if doubt.again_at:
            say(f"  good again:             {time_text(doubt.again_at)}")
    say(f"  judged again with:      ±{force_text(trust.expanded_mn / 1000, 'lbf', 2)}, or its own where that is more")
    if not again:
        say("\nNo hold was made with it in that time.")
        return
    worse = [each for each in again if each.worse]
    if not worse:
        say(f"\n{count(len(again), 'hold')} judged again, and no verdict gets worse.")
        return
    rows = [("job", "entry", "made", "piece", "canopy", "serial", "was", "now")]
    for each in worse:
        canopy = lines[each.job].canopy if each.job in lines else {}
        rows.append(
            (
                each.job,
                str(each.seq),
                each.at[:16].replace("T", " ") or value(None),
                ", ".join(each.pieces) or "not numbered",
                value(canopy.get("type")),
                value(canopy.get("serial")),
                VERDICTS.get(each.recorded, each.recorded or value(None)),
                f"cannot be judged: {each.trouble}" if each.now is None else VERDICTS.get(each.now, each.now),
            )
        )
    say("")
    say_table(rows)
    far = sum(bool(each.limit) for each in worse)
    if far:
        say(f"\nOf {far} of them the check says nothing: its weight was far from their pull.")
    say(f"\n{len(worse)} of {count(len(again), 'hold')} to revisit: pull each line again, or replace its piece.")
    say("Who decides that is not this program. " + DEFERRAL)


@click.command()
@click.argument("source", metavar="FROM")
@click.option("--archive", "where", required=True, metavar="INTO", help="The archive to take it into.")
@click.option("--new", is_flag=True, help="Make that archive, where there is none yet.")
@as_json
def gather(source: str, where: str, new: bool, as_json: bool) -> int:
    """Take the chains of another bench's archive into this one, as they are; only what is new.

    The other archive is verified first. Where it is damaged, or a chain there is another than here, nothing is taken.
    """
    from station.records.gather import gather
    from station.records.sqlite_file import path_of
    from station.records.store import is_server

    is_there = is_server(where) or path_of(where).exists()
    if not (new or is_there):
        what = f"{where}: there is no archive here; see whether the name is right, or say --new to make one there"
        raise click.BadParameter(what, param_hint="--archive")
    taken = gather(source, where, create=new)
    if as_json:
        print_json({"benches": [{"bench": bench, **each._asdict()} for bench, each in taken.items()]})
        return 0
    if not is_there:
        say(f"{where}: a new archive")
    for bench, each in taken.items():
        say(f"{bench}: {count(each.now - each.before, 'new entry', 'new entries')}, up to entry {each.now}")
    if not taken:
        say(f"{source}: no entry is filed there yet.")
    return 0
