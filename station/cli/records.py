"""`fidbench records`: what is filed, read by people and by programs. Only `import` and `gather` write to an archive.

`verify` ends with 0 where nothing is damaged and no verdict changed, else with 1; an archive that cannot be read at all
ends any of them with 2.
"""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from station.cli.answers import Commands, archive_option, as_json, paper_option, print_json, say, say_table, warn
from station.cli.finding import HEADS, cells_of, find, gather, revisit
from station.records.rows import Row, readable
from station.records.words import count, groups

if TYPE_CHECKING:
    from station.records.archive import Archive
    from station.records.job_sheet import JobSheet
    from station.records.verify import Verification

T = TypeVar("T")


@click.group(cls=Commands)
def records() -> None:
    """List, show, check, report, export, import and back up what is filed."""


records.add_command(find)
records.add_command(revisit)
records.add_command(gather)


@records.command("list")
@archive_option
@as_json
def list_jobs(where: str, as_json: bool) -> int:
    """List the jobs, and the anchor to write down."""
    from station.records.archive import Archive
    from station.records.register import register

    with Archive.open(where) as archive:
        lines = register(archive)
        heads = archive.heads()
    if as_json:
        anchors = [{"bench": bench, "seq": head.seq, "head": head.hash} for bench, head in heads.items()]
        print_json({"jobs": [line.answer() for line in lines], "heads": anchors})
        return 0
    if not lines:
        say("No job is filed here yet.")
        return 0
    say_table([HEADS, *map(cells_of, lines)])
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
@click.option("--key", "public", metavar="KEY", help="The station's public key: every signature must be by it.")
@click.option(
    "--workers", type=click.IntRange(1), metavar="N", help="How many processes; as many as help unless given."
)
@as_json
def verify(where: str, anchor: str | None, public: str | None, workers: int | None, as_json: bool) -> int:
    """Work out every link of the chain, every signature and every verdict anew.

    Exit status 0 when nothing is damaged and no verdict changed, 1 otherwise, 2 when the archive cannot be read.
    """
    from station.records.archive import Archive
    from station.records.verify import read_anchor, verify_examined
    from station.records.workers import examined

    known = None if anchor is None else read_anchor(anchor)
    public = None if public is None else read_anchor(public, "a public key")
    with Archive.open(where) as archive:
        unsound, unguarded = archive.unsound(), archive.unguarded()
        traces = archive.stored_traces
        with _watched(archive, examined(archive, workers)) as rows:
            found = verify_examined(rows, traces, known, unsound, unguarded, public)
    if as_json:
        print_json(found.answer())
    else:
        _say_verified(found, known)
    return 0 if found.good else 1


@records.command()
@click.argument("job", metavar="ID")
@archive_option
@click.option("--out", metavar="FILE", help="Where to write it; ID.pdf here, where none is named.")
@paper_option
@click.option("--label", "label_file", metavar="FILE", help="Write a small label for the packing card as well (PDF).")
@as_json
def report(job: str, where: str, out: str | None, paper: Any, label_file: str | None, as_json: bool) -> int:
    """Write one job's record as a PDF for the file, and print its line for the logbook."""
    from station.records.archive import Archive
    from station.records.job_sheet import JobSheet, checks_in_force
    from station.records.label import label
    from station.records.line_picture import line_picture
    from station.records.report import report as make_report

    with Archive.open(where) as archive:
        sheet = JobSheet.of(job, _rows(archive, job))
        checks = checks_in_force(sheet, archive.of_kind("scale-checked", "daily-checked"))
        pdf = make_report(sheet, archive.trace, paper, line_picture(sheet), checks)
    target = Path(out or f"{job}.pdf")
    _write(target, pdf)
    if label_file is not None:
        _write(Path(label_file), label(sheet))
    if as_json:
        known = {"job": job, "file": str(target), "label": label_file, "seq": sheet.last_seq, "head": sheet.last_hash}
        print_json(known | {"logbook": sheet.logbook_line(), "signed_off": sheet.signed_off is not None})
    else:
        say(f"{target}: record of job {job}; anchor of entry {sheet.last_seq}: {groups(sheet.last_hash)}")
        if label_file is not None:
            say(f"{label_file}: label of job {job}")
        say(f"For the logbook: {sheet.logbook_line()}")
    if sheet.signed_off is None:
        warn(f"job {job} is not signed off, and its record says so")
    return 0


@records.command()
@click.argument("job", metavar="[ID]", required=False)
@archive_option
@click.option("--form", type=click.Choice(["jsonl", "csv", "parquet"]), default="jsonl", show_default=True)
@click.option("--out", metavar="FILE", help="Where to write it; standard output, where none is named.")
@click.option("--withhold", metavar="NAME", multiple=True, help="A name to leave out; may be given several times.")
@click.option("--withhold-all", is_flag=True, help="Leave out every name of a person.")
@as_json
def export(
    job: str | None,
    where: str,
    form: str,
    out: str | None,
    withhold: tuple[str, ...],
    withhold_all: bool,
    as_json: bool,
) -> int:
    """Print one job, or without an ID everything, for others to check or to read.

    JSON Lines: each sealed entry as it was hashed, the names beside it, and each trace it names (its bytes before
    compression, in base64); docs/check_record.py checks it, and records import takes that of a whole archive back. CSV
    and Parquet: a table with a row for each entry. A name that is left out breaks nothing: its seal stays. With --json
    the lines are one list or, where --out names a file, the answer says what was written.
    """
    from station.records import exports
    from station.records.archive import Archive

    if out is None and (form == "parquet" or (form == "csv" and as_json)):
        why = "a Parquet file is not for a terminal" if form == "parquet" else "a table is no JSON"
        raise click.UsageError(f"{why}; name a file with --out")
    with Archive.open(where) as archive:
        rows: Iterable[Row] = archive.entries() if job is None else _rows(archive, job)
        if withhold or withhold_all:
            rows = _withheld(rows, withhold, withhold_all)
        if form == "parquet" and out is not None:
            with _written(out):
                written = exports.write_parquet(rows, Path(out))
            if as_json:
                print_json({"file": out, "form": form, "entries": written, "missing": []})
            else:
                say(f"{out}: {count(written, 'row')}")
            return 0
        missing: list[str] = []

        def miss(name: str, what: str) -> None:
            missing.append(name)
            warn(f"the trace {name} is {what}: records verify says more")

        if as_json and out is None:
            print_json(list(exports.lines(rows, archive.stored_traces, miss)))
            return 1 if missing else 0
        entries = 0
        with (
            _watched(archive, rows, wanted=job is None and out is not None) as rows,
            _written(out or "-"),
            click.open_file(out or "-", "w", encoding="utf-8", atomic=out is not None) as file,
        ):
            if form == "csv":
                import csv

                table = csv.DictWriter(file, exports.COLUMNS, lineterminator="\n")
                table.writeheader()
                for row in rows:
                    table.writerow(exports.cells_of(row))
                    entries += 1
            else:
                for line in exports.lines(rows, archive.stored_traces, miss):
                    file.write(json.dumps(line, allow_nan=False, ensure_ascii=False) + "\n")
                    entries += "body" in line
    if as_json:
        print_json({"file": out, "form": form, "entries": entries, "missing": missing})
    return 1 if missing else 0


def _withheld(rows: Iterable[Row], names: Sequence[str], every: bool) -> Iterator[Row]:
    """Give the rows without those names; say where one stands in a text all the same, and which was nobody's."""
    from station.records import exports

    met: set[str] = set()

    def which(name: str) -> bool:
        met.add(name)
        return every or name in names

    for row in exports.without_names(rows, which):
        yield row
        found = [name for name in names if name and name in row.body.decode("utf-8", "replace")]
        for name in found:
            warn(f"entry {row.seq} of {readable(row.bench)}: {name!r} stands in its sealed text, and stays there")
    for name in names:
        if name not in met:
            warn(f"{name!r} is nobody's name here, so nothing was left out for it; write it just as the record has it")


@records.command("import")
@click.argument("file", metavar="FILE")
@archive_option
@as_json
def take_in(file: str, where: str, as_json: bool) -> int:
    """Take the JSON Lines of a whole archive into a new one, with the same heads.

    Every line is checked; where one is not as it was sealed, it is named, and nothing is kept.
    """
    from station.records import exports

    heads = exports.take_in(Path(file), where)
    if as_json:
        print_json({"archive": where, "heads": {bench: head.hash for bench, head in heads.items()}})
        return 0
    for bench, head in heads.items():
        say(f"{where}: {bench} up to entry {head.seq}, anchor {groups(head.hash)}")
    return 0


@records.command()
@click.argument("file", metavar="[FILE]", required=False)
@click.option(
    "--archive", "where", metavar="A", help="Make the key beside this archive, so that its bench signs with it."
)
@as_json
def key(file: str | None, where: str | None, as_json: bool) -> int:
    """Make the station's key, with which its bench signs every entry from then on.

    A key beside an archive (its name, and .key) is used by itself. Keep a copy of the public key where it can be
    compared later, on paper or with somebody else: records verify --key.
    """
    from station.records.signatures import Signer

    if (file is None) == (where is None):
        raise click.UsageError("name either a file for the key, or the archive to make it beside")
    path = Path(f"{where}.key" if file is None else file)
    signer = Signer.make(path)
    if as_json:
        print_json({"file": str(path), "public": signer.public})
        return 0
    say(f"{path}: the station's key; nobody else may read it, and no copy of it leaves the station")
    say(f"Its public half, to write down or send away:\n  {groups(signer.public)}")
    return 0


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
def _watched(archive: Archive, rows: Iterable[T], wanted: bool = True) -> Iterator[Iterable[T]]:
    """Give what there is for each entry, with a bar on standard error where a person looks at it."""
    if not (wanted and sys.stderr.isatty()):
        yield rows
        return
    with click.progressbar(rows, archive.count(), file=sys.stderr, update_min_steps=200) as watched:
        yield watched


def _rows(archive: Archive, job: str) -> list[Row]:
    """Give a job's rows. Raises click's usage error, naming the nearest job, where there is none."""
    import difflib

    rows = list(archive.entries(job))
    if not rows:
        jobs = list(archive.jobs())
        near = difflib.get_close_matches(job, jobs, 1)
        known = (
            f"the nearest is {near[0]}" if near else f"{count(len(jobs), 'job')} filed there; records list names them"
        )
        raise click.BadParameter(f"found no job {job!r} in {archive.path}; {known}", param_hint="ID")
    return rows


def _entry_object(row: Row) -> Mapping[str, Any]:
    from station.records.chain import BodyFault

    known = {"bench": readable(row.bench), "seq": row.seq, "hash": readable(row.hash)}
    try:
        return known | {"at": row.at, "entry": row.told, "damaged": None}
    except BodyFault as fault:
        return known | {"at": None, "entry": None, "damaged": str(fault)}


def _show(sheet: JobSheet) -> None:
    from station.records import words
    from station.records.job_sheet import facts_of

    signed = sheet.signed_off
    say(f"Job {sheet.job}" + ("" if sheet.job.endswith(f" of {sheet.bench}") else f", {sheet.bench}"))
    state = f"signed off by {signed.entry.by}, {words.time_text(signed.at)}" if signed else "not signed off"
    say(f"{state}; pre-stretch: {sheet.holds_in_words()}")
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
    say(found.worked_out)
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
    for signer, entries in found.keys.items():
        say(f"Signed by {groups(signer)}: {count(entries, 'entry', 'entries')}")
    for bench, head in found.heads.items():
        say(f"Anchor of {bench} now: {groups(head)}")
    if anchor is None:
        say("Without an anchor, entries cut off at the end, or a chain made anew, cannot be told: see --anchor.")


def _wrapped(begin: str, text: str) -> str:
    """Give text after `begin`, wrapped to the width of a page, under itself."""
    return textwrap.fill(text, 110, initial_indent=begin, subsequent_indent=" " * len(begin), break_long_words=False)


def _write(target: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    part = target.with_name(f".{target.name}.part")
    try:
        with _written(str(target)):
            part.write_bytes(content)
            part.replace(target)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _written(name: str) -> Iterator[None]:
    """Turn what goes wrong while a file is written into click's error that names it."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as fault:
        raise click.FileError(name, fault.strerror or str(fault)) from None
