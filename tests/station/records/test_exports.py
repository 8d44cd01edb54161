from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from station.records.archive import Archive, ArchiveFault
from station.records.entries import Checked, JobOpened
from station.records.exports import COLUMNS, ExportFault, take_in
from station.records.names import WITHHELD
from tests.station.cli.commands import run
from tests.station.records.archives import AT, altered, is_whole
from tests.station.records.sample_job import BENCH, JOB, file_job, story

CapFd = pytest.CaptureFixture[str]
ROOT = Path(__file__).parents[3]
CHECKER = ROOT / "docs" / "check_record.py"
Line = dict[str, Any]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive of two benches, with the sample job and a check of another; no test alters it."""
    path = file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")
    with Archive.open(path, bench="Bench 2") as archive:
        archive.append(Checked(job="26-0002", check="no twist"), AT)
    return path


def exported(capfd: CapFd, filed: Path, *options: str) -> list[Line]:
    """Give the lines of an export."""
    ran = run(capfd, "records", "export", *options, "--archive", filed)
    assert ran.status == 0, ran.err
    return ran.lines


def written(path: Path, lines: list[Line]) -> Path:
    """Write lines to a file."""
    path.write_text("".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines), encoding="utf-8")
    return path


def checked(path: Path, *words: str) -> tuple[int, str]:
    """Run the checker that knows nothing of us, as somebody else would, and give its status and what it says."""
    command = [sys.executable, "-I", "-S", str(CHECKER), str(path), *words]
    ran = subprocess.run(command, capture_output=True, text=True, check=False, cwd=path.parent)
    assert ran.stderr == ""
    return ran.returncode, ran.stdout


def altered_line(lines: list[Line], n: int, alter: Callable[[Line], object]) -> list[Line]:
    """Give lines with one of them altered."""
    copy = json.loads(json.dumps(lines))
    alter(copy[n])
    return list(copy)


def entry_line(lines: list[Line], seq: int) -> int:
    """Give the place of an entry's line."""
    return next(n for n, line in enumerate(lines) if line.get("seq") == seq and line["bench"] == BENCH)


def test_an_export_taken_into_a_new_archive_has_the_same_heads(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """Everything comes back as it was: entries, names, traces and both heads."""
    source = written(tmp_path / "export.jsonl", exported(capfd, filed))
    target = tmp_path / "again.sqlite"
    ran = run(capfd, "records", "import", source, "--archive", target, "--json")
    with Archive.open(filed) as before, Archive.open(target) as after:
        assert ran.json["heads"] == {bench: head.hash for bench, head in before.heads().items()}
        assert list(after.entries()) == list(before.entries())
        assert dict(after.stored_traces) == dict(before.stored_traces)
    assert is_whole(target) == 31
    told = run(capfd, "records", "import", source, "--archive", tmp_path / "told.sqlite")
    assert f"told.sqlite: {BENCH} up to entry 30, anchor " in told.out


def test_work_goes_on_in_an_archive_taken_in(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A bench goes on with its chain where the export ended."""
    take_in(written(tmp_path / "export.jsonl", exported(capfd, filed)), str(tmp_path / "again.sqlite"))
    with Archive.open(tmp_path / "again.sqlite", bench=BENCH) as archive:
        assert archive.append(Checked(job=JOB, check="no twist"), "2026-03-05T05:06:07.000000Z").seq == 31
    assert is_whole(tmp_path / "again.sqlite") == 32


def test_an_archive_that_holds_entries_takes_nothing_in(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """What is filed is never mixed with what is taken in."""
    source = written(tmp_path / "export.jsonl", exported(capfd, filed))
    target = Path(shutil.copy(filed, tmp_path / "full.sqlite"))
    with pytest.raises(ArchiveFault, match="holds entries already; name a new archive"):
        take_in(source, str(target))
    assert is_whole(target) == 31


@pytest.mark.parametrize(
    ("alter", "what"),
    [
        (
            lambda line: line.update(body=line["body"].replace("replaced", "repaired")),
            "its text and its hash do not belong together",
        ),
        (lambda line: line.update(hash="0" * 64), "its text and its hash do not belong together"),
        (lambda line: line.update(seq=31), "its text is of entry 30 of Grey Gate Loft, bench 1"),
        (lambda line: line.update(bench="Bench 2"), "its text is of entry 30 of Grey Gate Loft, bench 1"),
        (lambda line: line["names"]["by"].__setitem__(1, "Tobin Hask"), "'by' is not the one that was sealed"),
        (lambda line: line["names"].pop("by"), "the name under 'by' was taken out"),
        (lambda line: line.update(signature="00"), "a signature stands beside it"),
        (lambda line: line.update(surprise=1), "found 'surprise', expected bench"),
        (lambda line: line.pop("body"), "is no line of an export"),
        (lambda line: line.update(body="{}"), "its text is no entry"),
        (lambda line: line.update(names=["by"]), "is no line of an export"),
    ],
)
def test_a_line_that_is_not_as_it_was_sealed_is_refused_and_nothing_kept(
    capfd: CapFd, filed: Path, tmp_path: Path, alter: Callable[[Line], object], what: str
) -> None:
    """The line is named, and the archive that was to take it stays empty, and may take the right export."""
    lines = exported(capfd, filed)
    n = entry_line(lines, 30)
    source = written(tmp_path / "export.jsonl", altered_line(lines, n, alter))
    target = tmp_path / "again.sqlite"
    with pytest.raises(ExportFault, match=f"export.jsonl: line {n + 1}: .*({what})"):
        take_in(source, str(target))
    assert is_whole(target) == 0
    take_in(written(source, lines), str(target))
    assert is_whole(target) == 31


def test_an_export_with_a_hole_is_refused(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """Where an entry or a trace is missing, that is said, and nothing is kept."""
    lines = exported(capfd, filed)
    n = entry_line(lines, 12)
    source = written(tmp_path / "export.jsonl", [*lines[:n], *lines[n + 1 :]])
    with pytest.raises(ExportFault, match="found entry 13 of Grey Gate Loft, bench 1, expected 12; only the export of"):
        take_in(source, str(tmp_path / "a.sqlite"))
    n = next(n for n, line in enumerate(lines) if "trace" in line)
    with pytest.raises(ExportFault, match=f"line {n}: its trace .* is nowhere in the export"):
        take_in(written(source, [*lines[:n], *lines[n + 1 :]]), str(tmp_path / "b.sqlite"))
    lines[n]["packed"] = lines[n]["packed"][:-4] + "AAAA"
    with pytest.raises(ExportFault, match=f"line {n + 1}: its readings are not the ones that were recorded"):
        take_in(written(source, lines), str(tmp_path / "c.sqlite"))


@pytest.mark.parametrize("text", ["", "Dear Ansa,\n", "[]\n", '{"trace": 1}\n', "null\n"])
def test_what_is_no_export_is_refused_by_name(capfd: CapFd, tmp_path: Path, text: str) -> None:
    """A letter, an empty file, and a missing one end with 2 and one line that names the file."""
    source = tmp_path / "letter.txt"
    source.write_text(text)
    for name in (source, tmp_path / "nowhere.jsonl"):
        ran = run(capfd, "records", "import", name, "--archive", tmp_path / "a.sqlite")
        assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
        assert name.name in ran.err
    assert not (tmp_path / "a.sqlite").exists()


def test_the_checker_calls_nothing_good_that_holds_nothing(tmp_path: Path) -> None:
    """An export that is empty, because making it failed, is not said to be undamaged."""
    status, said = checked(written(tmp_path / "empty.jsonl", []))
    assert status == 1
    assert "there is no entry in this file: nothing was checked" in said


def test_the_checker_is_short_and_needs_nothing() -> None:
    """Somebody else's checker is under a hundred lines and imports the standard library alone."""
    text = CHECKER.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 100
    imports = {line.split()[1] for line in text.splitlines() if line.startswith(("import ", "from "))}
    assert imports <= set(sys.stdlib_module_names)


def test_the_checker_finds_a_whole_export_good(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """The whole archive and one job alone are found undamaged, and the anchor is found."""
    lines = exported(capfd, filed)
    source = written(tmp_path / "export.jsonl", lines)
    head = lines[entry_line(lines, 30)]["hash"]
    assert checked(source) == (0, "31 entries, 5 traces looked at\nNothing is damaged.\n")
    status, said = checked(source, head[:32].upper(), head[32:])
    assert (status, said.splitlines()[1]) == (0, f"the anchor is that of entry 30 of {BENCH}")
    assert checked(source, "0" * 64)[0] == 1
    alone = written(tmp_path / "alone.jsonl", exported(capfd, filed, "26-0002", "--withhold-all"))
    assert checked(alone) == (0, "1 entries, 0 traces looked at\nNothing is damaged.\n")


@pytest.mark.parametrize(
    ("seq", "alter", "what"),
    [
        (15, lambda line: line.update(body=line["body"].replace("4763", "1763")), "its text was altered"),
        (15, lambda line: line.update(seq=16), "it stands in another's place"),
        (30, lambda line: line["names"]["by"].__setitem__(1, "Tobin Hask"), "the name under by is not the one"),
        (1, lambda line: line["names"]["people.worker"].__setitem__(0, "x"), "the name under people.worker is not"),
    ],
)
def test_the_checker_finds_what_was_altered(
    capfd: CapFd, filed: Path, tmp_path: Path, seq: int, alter: Callable[[Line], object], what: str
) -> None:
    """An altered text, place or name is told at its entry."""
    lines = exported(capfd, filed)
    source = written(tmp_path / "export.jsonl", altered_line(lines, entry_line(lines, seq), alter))
    status, said = checked(source)
    assert (status, said.splitlines()[-1]) == (1, "DAMAGED")
    assert what in said


def test_the_checker_finds_readings_that_do_not_bear_a_verdict_out(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A pull that was not held, recorded as held and sealed by somebody with this program, is told by its readings."""
    from station.records.chain import FIRST_PREV, seal

    lines = exported(capfd, filed)
    short = next(line for line in lines if '"not-held"' in line.get("body", ""))
    held = next(line for line in lines if '"verdict":"held"' in line.get("body", ""))
    facts = json.loads(short["body"])["entry"]
    facts["judgement"] = json.loads(held["body"])["entry"]["judgement"]
    link = seal(FIRST_PREV, BENCH, 1, AT, facts)
    trace = next(line for line in lines if line.get("trace") == facts["trace"])
    forged = {"bench": BENCH, "seq": 1, "hash": link.hash, "body": link.body.decode()}
    status, said = checked(written(tmp_path / "forged.jsonl", [forged, trace]))
    assert status == 1
    assert "entry 1 of Grey Gate Loft, bench 1: recorded as held, and " in said


def test_a_withheld_name_is_nowhere_in_the_export_and_breaks_nothing(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """With a name left out, the export still checks, still comes back with the same head, and says that it is."""
    ran = run(capfd, "records", "export", "--archive", filed, "--withhold", "Ilse Marrow", "--withhold", "Ansa Velling")
    assert (ran.status, ran.err) == (0, "")
    assert "Ilse Marrow" not in ran.out
    assert "Ansa Velling" not in ran.out
    assert "Tobin Hask" in ran.out
    source = written(tmp_path / "export.jsonl", ran.lines)
    assert checked(source)[0] == 0
    target = tmp_path / "again.sqlite"
    heads = take_in(source, str(target))
    with Archive.open(target) as after, Archive.open(filed) as before:
        assert heads == before.heads()
        opened = next(after.entries(JOB)).entry
    assert isinstance(opened, JobOpened)
    assert (opened.owner["name"], opened.people["worker"]) == (WITHHELD, WITHHELD)
    assert opened.people["supervisor"] == "Tobin Hask"
    answer = run(capfd, "records", "verify", "--archive", target, "--json")
    assert (answer.status, answer.json["remarks"]) == (0, ["3 names withheld: the seal of each stands in its entry"])
    every = run(capfd, "records", "export", JOB, "--archive", filed, "--withhold-all").out
    assert [name for name in ("Tobin Hask", "GG-118", "AV7", "Tannery Row") if name in every] == []


def test_a_withheld_name_in_a_free_text_is_told(capfd: CapFd, tmp_path: Path) -> None:
    """A name that somebody wrote into a note cannot be left out of what is sealed, and that is said."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(Checked(job=JOB, check="looked at with Ansa Velling"), AT)
    ran = run(capfd, "records", "export", "--archive", path, "--withhold", "Ansa Velling")
    assert "entry 1 of Grey Gate Loft, bench 1: 'Ansa Velling' stands in its sealed text, and stays there" in ran.err


def test_a_name_that_is_nobodys_is_told(capfd: CapFd, filed: Path) -> None:
    """A name to withhold that was typed in another way leaves nothing out, and that is said of it alone."""
    ran = run(capfd, "records", "export", "--archive", filed, "--withhold", "Ansa Veling", "--withhold", "Tobin Hask")
    assert "'Ansa Veling' is nobody's name here, so nothing was left out for it" in ran.err
    assert ran.err.count("\n") == 1
    assert "Ansa Velling" in ran.out


def test_a_table_has_a_row_for_every_entry(capfd: CapFd, filed: Path) -> None:
    """CSV has when and what of each entry, in words and as JSON, read by any reader of CSV."""
    ran = run(capfd, "records", "export", "--archive", filed, "--form", "csv", "--withhold", "Ansa Velling")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == 31
    held = [row for row in rows if row["verdict"] == "held"]
    assert [row["held_us"] for row in held] == ["30000000", "30000000"]
    assert held[0]["what"].startswith("pre-stretch of piece 12: held; 30.0 s between")
    assert f"signed off by {WITHHELD}, certificate GG-118" in rows[-1]["what"]
    assert json.loads(rows[1]["entry"])["canopy"]["type"] == "Teasel 190"


def test_a_damaged_entry_stands_in_the_table_as_damaged(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """An entry that cannot be read has its row, which says so."""
    path = altered(Path(shutil.copy(filed, tmp_path / "a.sqlite")), "UPDATE entries SET body = '{}' WHERE seq = 3")
    rows = list(csv.DictReader(io.StringIO(run(capfd, "records", "export", "--archive", path, "--form", "csv").out)))
    assert rows[3]["what"] == "DAMAGED: its text cannot be read"
    assert len(rows) == 31


def test_parquet_is_read_by_another_reader(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """The table as Parquet is read by a program that shares no code with the one that wrote it."""
    pytest.importorskip("pyarrow", reason="Parquet needs the extra parquet")
    duckdb = pytest.importorskip("duckdb", reason="no second reader of Parquet is installed here")
    target = tmp_path / "archive.parquet"
    ran = run(capfd, "records", "export", "--archive", filed, "--form", "parquet", "--out", target)
    assert (ran.status, ran.out) == (0, f"{target}: 31 rows\n")
    with duckdb.connect() as reader:
        entries = reader.read_parquet(str(target))
        found = reader.sql("SELECT bench, count(*), sum(held_us), max(seq) FROM entries GROUP BY bench ORDER BY bench")
        assert found.fetchall() == [
            ("Bench 2", 1, None, 1),
            (BENCH, len(list(story())), 60_000_000, 30),
        ]
        assert tuple(entries.columns) == COLUMNS
    refused = run(capfd, "records", "export", "--archive", filed, "--form", "parquet")
    assert (refused.status, refused.out) == (2, "")
    assert "name a file with --out" in refused.err


def test_without_its_library_parquet_is_refused_in_words(
    capfd: CapFd, filed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where pyarrow is not installed, that is said with what to do, and no file is made."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    target = tmp_path / "archive.parquet"
    ran = run(capfd, "records", "export", "--archive", filed, "--form", "parquet", "--out", target)
    assert (ran.status, ran.out) == (2, "")
    assert "pip install 'fidbench[parquet]'" in ran.err
    assert not target.exists()


@pytest.mark.parametrize("form", ["jsonl", "csv"])
def test_an_export_is_written_whole_to_a_file(capfd: CapFd, filed: Path, tmp_path: Path, form: str) -> None:
    """What is named with --out holds what would be printed; a folder that is not there is told by name."""
    printed = run(capfd, "records", "export", JOB, "--archive", filed, "--form", form).out
    target = tmp_path / "export"
    assert run(capfd, "records", "export", JOB, "--archive", filed, "--form", form, "--out", target).status == 0
    assert target.read_text(encoding="utf-8") == printed
    ran = run(capfd, "records", "export", JOB, "--archive", filed, "--form", form, "--out", tmp_path / "no" / "x")
    assert (ran.status, ran.out) == (2, "")
    assert "Traceback" not in ran.err


def test_a_key_is_made_and_signs(capfd: CapFd, tmp_path: Path) -> None:
    """A key made beside an archive signs its entries; verify names it, and refuses another."""
    pytest.importorskip("cryptography", reason="signatures need the extra sign")
    path = tmp_path / "archive.sqlite"
    made = run(capfd, "records", "key", "--archive", path, "--json")
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(Checked(job=JOB, check="no twist"), AT)
    public = made.json["public"]
    good = run(capfd, "records", "verify", "--archive", path, "--key", public)
    assert good.status == 0
    assert f"Signed by {public[:8]} " in good.out
    other = run(capfd, "records", "verify", "--archive", path, "--key", "ab" * 32, "--json")
    assert (other.status, other.json["damaged"][1]["what"]) == (1, f"it is signed by another key, {public[:12]}...")
    assert run(capfd, "records", "verify", "--archive", path, "--key", "abc").status == 2
    told = run(capfd, "records", "key", tmp_path / "station.key")
    assert "Its public half, to write down or send away:" in told.out
    for words in (("key",), ("key", "a", "--archive", "b"), ("key", tmp_path / "station.key")):
        ran = run(capfd, "records", *words)
        assert (ran.status, ran.out) == (2, "")
    taken = written(tmp_path / "export.jsonl", exported(capfd, path))
    take_in(taken, str(tmp_path / "again.sqlite"))
    again = run(capfd, "records", "verify", "--archive", tmp_path / "again.sqlite", "--key", public, "--json")
    assert (again.status, again.json["keys"]) == (0, {public: 1})


def test_a_file_that_is_no_text_is_refused_by_its_line(tmp_path: Path) -> None:
    """A PDF given for an export is named, with the line, and nothing is kept of it."""
    source, target = tmp_path / "record.pdf", tmp_path / "again.sqlite"
    source.write_bytes(b"%PDF-1.3\n%\x93\x8c\x8b\x9e\n")
    with pytest.raises(ExportFault, match=r"record\.pdf: line 1: is no line of an export"):
        take_in(source, str(target))
    source.write_bytes(b"\x93\x8c\n")
    with pytest.raises(ExportFault, match=r"record\.pdf: line 1: is no line of an export"):
        take_in(source, str(target))
    assert not target.exists()
