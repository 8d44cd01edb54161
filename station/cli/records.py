"""`fidbench records`: what is filed, read by people and by programs; nothing here writes to an archive.

`verify` ends with 0 where nothing is damaged and no verdict changed, else with 1; an archive that cannot be read at all
ends any of them with 2.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import as_json, print_json, say, warn
from station.records.rows import Row, readable
from station.records.words import groups, value

if TYPE_CHECKING:
    from station.records.archive import Archive
    from station.records.job_sheet import JobSheet
    from station.records.verify import Verification

archive_option = click.option(
    "--archive", "where", required=True, metavar="A", help="The archive: a file, or sqlite:///FILE."
)


@click.group()
def records() -> None:
    """List, show, check, report, export and back up what is filed."""


@records.command("list")
@archive_option
@as_json
def list_jobs(where: str, as_json: bool) -> int:
    """List the jobs, and the anchor to write down."""
    from station.records.archive import Archive

    with Archive.open(where) as archive:
        jobs = [_line(sheet, archive.jobs()[sheet.job]) for sheet in _sheets(archive)]
        heads = archive.heads()
    if as_json:
        anchors = [{"bench": bench, "seq": head.seq, "head": head.hash} for bench, head in heads.items()]
        print_json({"jobs": jobs, "heads": anchors})
        return 0
    if not jobs:
        say("No job is filed here yet.")
        return 0
    _say_table([("job", "opened", "what", "canopy", "worked", "holds", "state"), *map(_cells, jobs)])
    for bench, head in heads.items():
        say(f"\nAnchor of {bench}, entry {head.seq}:\n  {groups(head.hash)}")
    say(
        "\nWrite the anchor down, or send it to somebody. Later, records verify --anchor shows that nothing up to\n"
        "it was altered. Without one, entries cut off at the end, or a chain made anew, cannot be told."
    )
    return 0


@records.command()
@click.argument("job", metavar="ID")
@archive_option
@as_json
def show(job: str, where: str, as_json: bool) -> int:
    """Show one job: whose, what, on what basis, what came out, and every entry."""
    from station.records.archive import Archive

    with Archive.open(where) as archive:
        rows = _rows(archive, job)
    if as_json:
        print_json({"job": job, "entries": [_entry_object(row) for row in rows]})
        return 0
    from station.records.job_sheet import JobSheet

    _show(JobSheet.of(job, rows))
    return 0


@records.command()
@archive_option
@click.option("--anchor", metavar="HASH", help="A hash printed or written down earlier: says up to where it vouches.")
@as_json
def verify(where: str, anchor: str | None, as_json: bool) -> int:
    """Work out every link of the chain and every verdict anew.

    Exit status 0 when nothing is damaged and no verdict changed, 1 otherwise, 2 when the archive cannot be read.
    """
    from station.records.archive import Archive
    from station.records.verify import read_anchor
    from station.records.verify import verify as verify_rows

    known = None if anchor is None else read_anchor(anchor)
    with Archive.open(where) as archive:
        unsound, unguarded = archive.unsound(), archive.unguarded()
        with _watched(archive) as rows:
            found = verify_rows(rows, archive.stored_traces, known, unsound, unguarded)
    if as_json:
        print_json(found.answer())
    else:
        _say_verified(found, known)
    return 0 if found.good else 1


@records.command()
@click.argument("job", metavar="ID")
@archive_option
@click.option("--out", metavar="FILE", help="Where to write it; ID.pdf here, where none is named.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
def report(job: str, where: str, out: str | None, paper: Any) -> int:
    """Write one job's record as a PDF for the file."""
    from station.records.archive import Archive
    from station.records.job_sheet import JobSheet
    from station.records.line_picture import line_picture
    from station.records.report import report as make_report

    with Archive.open(where) as archive:
        sheet = JobSheet.of(job, _rows(archive, job))
        pdf = make_report(sheet, archive.trace, paper, line_picture(sheet))
    target = Path(out or f"{job}.pdf")
    _write(target, pdf)
    say(f"{target}: record of job {job}; anchor of entry {sheet.last_seq}: {groups(sheet.last_hash)}")
    if sheet.signed_off is None:
        warn(f"job {job} is not signed off, and its record says so")
    return 0


@records.command()
@click.argument("job", metavar="ID")
@archive_option
def export(job: str, where: str) -> int:
    """Print one job as JSON lines: each sealed entry as it was hashed, and each trace it names.

    An entry's line has bench, seq, hash and body (the exact text that was hashed); a trace's line has trace (its hash)
    and packed (its bytes, before compression, in base64).
    """
    from base64 import b64encode

    from station.records.archive import Archive
    from station.records.chain import BodyFault

    with Archive.open(where) as archive:
        named: list[str] = []
        for row in _rows(archive, job):
            body = row.body.decode("utf-8", "replace")
            print_json({"bench": readable(row.bench), "seq": row.seq, "hash": readable(row.hash), "body": body})
            try:
                trace = row.facts.get("trace")
            except BodyFault:
                continue
            if isinstance(trace, str) and trace not in named:
                named.append(trace)
        missing = 0
        for name in named:
            stored = archive.stored_traces.get(name)
            if stored is None or stored.what_is_wrong():
                warn(f"the trace {name} is {'missing' if stored is None else 'damaged'}: records verify says more")
                missing += 1
                continue
            print_json({"trace": name, "packed": b64encode(stored.unpacked()).decode()})
    return 1 if missing else 0


@records.command()
@click.argument("file", metavar="FILE")
@archive_option
@as_json
def backup(file: str, where: str, as_json: bool) -> int:
    """Copy the archive to a new file, also while a bench writes to it."""
    from station.records.archive import Archive

    with Archive.open(where) as archive:
        heads = archive.backup(file)
    if as_json:
        print_json({"file": file, "heads": {bench: head.hash for bench, head in heads.items()}})
        return 0
    for bench, head in heads.items():
        say(f"{file}: {bench} up to entry {head.seq}, anchor {groups(head.hash)}")
    return 0


@contextmanager
def _watched(archive: Archive) -> Iterator[Iterable[Row]]:
    """Give all entries, with a bar on standard error where a person looks at it."""
    if not sys.stderr.isatty():
        yield archive.entries()
        return
    count = archive.count()
    with click.progressbar(archive.entries(), count, file=sys.stderr, update_min_steps=200) as rows:
        yield rows


def _rows(archive: Archive, job: str) -> list[Row]:
    """Give a job's rows. Raises click's usage error, naming the nearest job, where there is none."""
    import difflib

    rows = list(archive.entries(job))
    if not rows:
        jobs = list(archive.jobs())
        near = difflib.get_close_matches(job, jobs, 1)
        known = f"the nearest is {near[0]}" if near else f"{len(jobs)} are filed; records list names them"
        raise click.BadParameter(f"found no job {job!r} in {archive.path}; {known}", param_hint="ID")
    return rows


def _sheets(archive: Archive) -> Iterable[JobSheet]:
    """Give a sheet of every job, with just the entries that the list needs."""
    from station.records.job_sheet import JobSheet

    told: dict[str, list[Row]] = {job: [] for job in archive.jobs()}
    for row in archive.of_kind("job-opened", "hold-judged", "signed-off"):
        if row.job:
            told.setdefault(readable(row.job), []).append(row)
    return [JobSheet.of(job, rows) for job, rows in told.items()]


def _line(sheet: JobSheet, entries: int) -> dict[str, Any]:
    opened, signed = sheet.opened, sheet.signed_off
    canopy = opened.canopy if opened else {}
    return {
        "job": sheet.job,
        "bench": sheet.bench or None,
        "opened": sheet.span[0] or None,
        "what": opened.title if opened else None,
        "line": f"{opened.side} {opened.number}".strip() if opened else None,
        "canopy": canopy.get("type") or None,
        "serial": canopy.get("serial") or None,
        "worked": (opened.people.get("worker") or None) if opened else None,
        "holds": sheet.holds_in_words(),
        "signed_off": signed.at if signed else None,
        "entries": entries,
    }


def _cells(job: Mapping[str, Any]) -> list[str]:
    signed = job["signed_off"]
    state = f"signed off {signed[:10]}" if signed else "open"
    opened = (job["opened"] or "")[:16].replace("T", " ")
    found = [job["job"], opened, job["what"], job["canopy"], job["worked"], job["holds"], state]
    return [value(each) for each in found]


def _entry_object(row: Row) -> Mapping[str, Any]:
    from station.records.chain import BodyFault

    known = {"bench": readable(row.bench), "seq": row.seq, "hash": readable(row.hash)}
    try:
        return known | {"at": row.at, "entry": row.facts, "damaged": None}
    except BodyFault as fault:
        return known | {"at": None, "entry": None, "damaged": str(fault)}


def _show(sheet: JobSheet) -> None:
    from station.records import words
    from station.records.job_sheet import facts_of

    signed = sheet.signed_off
    say(f"Job {sheet.job}, {sheet.bench}")
    state = f"signed off by {signed.entry.by}, {words.time_text(signed.at)}" if signed else "not signed off"
    say(f"{state}; pre-stretch holds: {sheet.holds_in_words()}")
    if sheet.opened is None:
        say("The entry that opens this job is missing or damaged.")
    else:
        for title, facts in facts_of(sheet.opened):
            _say_facts(title, facts)
    _say_facts("Result", sheet.results())
    say("\nEvery entry, in order (times are UTC)")
    back = sheet.gone_back_on()
    for told in sheet.told:
        again = " (done again later)" if told.seq in back else ""
        say(_wrapped(f"{told.seq:>5}  {told.at[:10]} {told.at[11:19]}  ", words.in_words(told.entry) + again))
    for seq, why in sheet.unreadable:
        say(_wrapped(f"{seq:>5}  ", f"DAMAGED: {why}"))
    say(f"\nAnchor, the hash of entry {sheet.last_seq}: {groups(sheet.last_hash)}")
    say(words.DEFERRAL)


def _say_facts(title: str, facts: Sequence[tuple[str, str]]) -> None:
    say(f"\n{title}")
    widest = max((len(label) for label, _ in facts), default=0)
    for label, found in facts:
        say(_wrapped(f"  {label:<{widest}}  ", found))


def _say_verified(found: Verification, anchor: str | None) -> None:
    say(f"{found.entries} entries and {found.holds} judged holds worked out anew.")
    for damage in found.damaged:
        place = "The archive" if damage.seq is None else f"Entry {damage.seq}"
        bench = f" of {damage.bench}" if damage.bench and len(found.heads) > 1 else ""
        say(_wrapped("  ", f"{place}{bench}: {damage.what}."))
    for changed in found.verdicts_changed:
        say(_wrapped("  ", f"Entry {changed.seq}: {changed.what}."))
    for remark in found.remarks:
        say(_wrapped("  ", f"Note: {remark}."))
    if found.good:
        say("Nothing is damaged, and every verdict follows from its stored trace.")
    else:
        say(f"Damaged: {len(found.damaged)}. Verdicts that no longer follow: {len(found.verdicts_changed)}.")
        say("Keep this file as it is, and compare it with a backup.")
    if anchor is not None and found.anchored_to is not None:
        say(f"The anchor is the hash of entry {found.anchored_to}: it vouches for that entry and all before it.")
    for bench, head in found.heads.items():
        say(f"Head of {bench}: {groups(head)}")
    if anchor is None:
        say("Without an anchor, entries cut off at the end, or a chain made anew, cannot be told: see --anchor.")


def _say_table(rows: Sequence[Sequence[str]]) -> None:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        say("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())


def _wrapped(begin: str, text: str) -> str:
    """Give text after `begin`, wrapped to the width of a page, under itself."""
    return textwrap.fill(text, 110, initial_indent=begin, subsequent_indent=" " * len(begin), break_long_words=False)


def _write(target: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    part = target.with_name(f".{target.name}.part")
    try:
        part.write_bytes(content)
        part.replace(target)
    except OSError as fault:
        raise click.FileError(str(target), fault.strerror or str(fault)) from None
    finally:
        part.unlink(missing_ok=True)
