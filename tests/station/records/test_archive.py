from __future__ import annotations

import shutil
import sqlite3
import subprocess
import threading
from pathlib import Path

import pytest

from station.measuring.trace import Trace
from station.records.archive import Archive, ArchiveFault
from station.records.chain import digest
from station.records.entries import JobOpened
from station.records.verify import verify
from tests.station.records.archives import AT, altered, check, filled, is_whole, names
from tests.station.records.sample_job import BENCH, HELD, JOB, OPENED, file_job, hold, pulled, story


def test_a_filed_job_reads_back_as_it_was_filed(tmp_path: Path) -> None:
    """Every entry and every trace comes back equal, in order, after the archive was closed and opened again."""
    path = file_job(tmp_path / "archive.sqlite")
    told = list(story())
    with Archive.open(path) as archive:
        rows = list(archive.entries(JOB))
        assert [row.entry for row in rows] == [entry for entry, _ in told]
        assert [row.seq for row in rows] == list(range(1, len(told) + 1))
        assert rows == list(archive.entries())
        for _, traces in told:
            for trace in traces:
                assert archive.trace(digest(trace.pack())) == trace
        head = archive.head()
        assert head is not None
        assert head.hash == rows[-1].hash
        assert archive.heads() == {BENCH: head}
        assert archive.jobs() == {JOB: len(told)}
        assert [row.kind for row in archive.of_kind("signed-off", "job-opened")] == ["job-opened", "signed-off"]
    assert is_whole(path) == len(told)


def test_a_url_names_the_same_file(tmp_path: Path) -> None:
    """A path and its sqlite:/// URL open the same archive."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(f"sqlite:///{path}") as archive:
        assert len(list(archive.entries())) == 3


def test_work_goes_on_where_it_stopped(tmp_path: Path) -> None:
    """An archive opened again goes on with the next number, sealed on the last entry."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench=BENCH) as archive:
        assert archive.append(check(4), AT).seq == 4
    assert is_whole(path) == 4


def test_each_bench_has_a_chain_of_its_own(tmp_path: Path) -> None:
    """Two benches that file in turn each number from 1, and the head of both is asked for by name."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path, bench="Bench 2") as archive:
        assert archive.append(check(1), AT).seq == 1
        assert archive.head() == archive.head("Bench 2")
    with Archive.open(path) as archive:
        assert [(row.bench, row.seq) for row in archive.entries()] == [("Bench 2", 1), *((BENCH, n) for n in (1, 2, 3))]
        with pytest.raises(ArchiveFault, match="holds the chains of Bench 2, Grey Gate Loft, bench 1; name one"):
            archive.head()
    assert is_whole(path) == 4


@pytest.mark.parametrize("batch", [1, 2, 3, 4, 5, 100])
def test_more_entries_than_are_read_at_once_come_in_order(
    tmp_path: Path, batch: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Entries are read in batches, and none is lost or doubled between two of them."""
    monkeypatch.setattr("station.records.archive._BATCH", batch)
    path = filled(tmp_path / "archive.sqlite", 4)
    with Archive.open(path, bench="Bench 2") as archive:
        archive.append(check(1), AT)
        numbers = [(row.bench, row.seq) for row in archive.entries()]
    assert numbers == [("Bench 2", 1), *((BENCH, n) for n in (1, 2, 3, 4))]


def test_entries_are_filed_from_several_threads(tmp_path: Path) -> None:
    """What is filed from several threads at once is one chain without holes."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        threads = [threading.Thread(target=lambda: [archive.append(check(n), AT) for n in range(20)]) for _ in range(4)]
        for thread in threads:
            thread.start()
        assert len(list(archive.entries())) <= 80
        for thread in threads:
            thread.join()
    assert is_whole(path) == 80


def test_a_trace_named_twice_is_stored_once(tmp_path: Path) -> None:
    """The trace of a hold that closed when it was complete is stored once for both of its entries."""
    path = tmp_path / "archive.sqlite"
    trace = pulled(2, *HELD)
    judged = hold(("12",), trace, "A: pre-stretch")
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(judged, AT, [trace])
        archive.append(judged, AT, [trace])
        assert len(archive.stored_traces) == 1
    assert is_whole(path) == 2


def test_an_entry_whose_trace_is_not_handed_in_is_refused_whole(tmp_path: Path) -> None:
    """An entry that names a trace which is nowhere is an error of the program, and leaves nothing behind."""
    path = filled(tmp_path / "archive.sqlite")
    trace = pulled(2, *HELD)
    with Archive.open(path, bench=BENCH) as archive, pytest.raises(ValueError, match="which was not handed in"):
        archive.append(hold(("12",), trace, "A: pre-stretch"), AT, [pulled(3, *HELD)])
    with Archive.open(path) as archive:
        assert len(archive.stored_traces) == 0
    assert is_whole(path) == 3


def test_job_ids_count_up_within_a_year(tmp_path: Path) -> None:
    """A new job has the first number after the highest of its year, whatever else the IDs are."""
    with Archive.open(tmp_path / "archive.sqlite", bench=BENCH, create=True) as archive:
        assert archive.new_job_id(2026) == "26-0001"
        for job in ("26-0001", "26-0009", "25-0123", "reline Teasel", "26-x"):
            archive.append(check(1, job), AT)
        assert (archive.new_job_id(2026), archive.new_job_id(2025)) == ("26-0010", "25-0124")
        assert archive.new_job_id(2027) == "27-0001"
        archive.append(check(1, "26-9999"), AT)
        assert archive.new_job_id(2026) == "26-10000"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET job = 'x' WHERE seq = 2",
        "UPDATE entries SET seq = 9 WHERE seq = 2",
        "DELETE FROM entries WHERE seq = 3",
        "DELETE FROM entries",
        "REPLACE INTO entries SELECT bench, seq, 'x', kind, hash, body, names, signature FROM entries WHERE seq = 2",
        "INSERT OR IGNORE INTO entries SELECT bench, 9, job, kind, hash, body, names, signature FROM entries",
        "INSERT INTO entries SELECT bench, 0, job, kind, hash, body, names, signature FROM entries WHERE seq = 2",
        "UPDATE traces SET blob = x'00'",
        "DELETE FROM traces",
        "REPLACE INTO traces SELECT hash, x'00', blob_hash FROM traces",
        "UPDATE OR REPLACE traces SET hash = 'x'",
    ],
)
def test_a_statement_that_would_alter_or_take_out_is_refused(tmp_path: Path, statement: str) -> None:
    """The guards refuse, also a tool that opens the file by itself with its own settings, and nothing changes."""
    path = file_job(tmp_path / "archive.sqlite")
    before = path.read_bytes()
    connection = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match=r"never|without holes|once"):
        connection.execute(statement)
    connection.close()
    assert path.read_bytes() == before


@pytest.mark.parametrize("value", ["17", "x'3137'", "1.5"])
def test_a_column_takes_only_its_own_type(tmp_path: Path, value: str) -> None:
    """A tool that writes another type into the archive is refused, or its value becomes the column's type."""
    path = filled(tmp_path / "archive.sqlite")
    connection = sqlite3.connect(path)
    statement = (
        f"INSERT INTO entries SELECT bench, 4, job, kind, hash, {value}, names, signature FROM entries WHERE seq = 2"  # noqa: S608 -- a test's own text
    )
    try:
        connection.execute(statement)
    except sqlite3.IntegrityError as refused:
        assert "cannot store BLOB value in TEXT column" in str(refused)  # noqa: PT017 -- one of two allowed outcomes
    else:
        assert connection.execute("SELECT typeof(body) FROM entries WHERE seq = 4").fetchone() == ("text",)
    connection.close()


@pytest.mark.parametrize("instead", ["", "CREATE TRIGGER entries_kept BEFORE DELETE ON entries BEGIN SELECT 1; END"])
def test_guards_that_were_taken_away_or_altered_are_told_and_put_back(tmp_path: Path, instead: str) -> None:
    """An archive without its guards, or with one that guards nothing, says so; the next bench puts it right."""
    path = filled(tmp_path / "archive.sqlite")
    connection = sqlite3.connect(path)
    connection.execute("DROP TRIGGER entries_kept")
    connection.execute(instead)
    connection.close()
    with Archive.open(path) as archive:
        assert archive.unguarded() == ["the guard 'entries_kept' against altering was taken away or altered"]
    Archive.open(path, bench=BENCH).close()
    with Archive.open(path) as archive:
        assert archive.unguarded() == []


def test_reading_leaves_the_folder_as_it_was(tmp_path: Path) -> None:
    """Listing, verifying and closing leave no file behind, and alter none."""
    path = file_job(tmp_path / "archive.sqlite")
    before = path.read_bytes()
    assert names(tmp_path) == {"archive.sqlite"}
    is_whole(path)
    assert names(tmp_path) == {"archive.sqlite"}
    assert path.read_bytes() == before


def test_an_archive_is_read_while_it_is_written(tmp_path: Path) -> None:
    """A reader sees each entry as soon as it was filed, and leaves the writer's files alone."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as writer:
        writer.append(check(1), AT)
        with Archive.open(path) as reader:
            assert len(list(reader.entries())) == 1
            writer.append(check(2), AT)
            assert len(list(reader.entries())) == 2
        assert len(names(tmp_path)) == 3
        writer.append(check(3), AT)
    assert names(tmp_path) == {"archive.sqlite"}
    assert is_whole(path) == 3


def test_a_file_written_to_while_it_was_taken_for_unwritten_is_not_believed(tmp_path: Path) -> None:
    """What a reader got from a file that a bench then wrote to is refused, rather than told half old and half new."""
    path = filled(tmp_path / "archive.sqlite")
    with Archive.open(path) as reader:
        assert len(list(reader.entries())) == 3
        with Archive.open(path, bench=BENCH) as writer:
            writer.append(check(4), AT)
        with pytest.raises(ArchiveFault, match="was written to while it was read; do it again"):
            list(reader.entries())
    assert is_whole(path) == 4


def test_a_reader_never_makes_an_archive(tmp_path: Path) -> None:
    """Reading what is not there says so, and makes nothing."""
    with pytest.raises(ArchiveFault, match=r"nowhere\.sqlite: there is no archive here; see whether the name is right"):
        Archive.open(tmp_path / "nowhere.sqlite")
    with pytest.raises(ArchiveFault, match="there is no archive here"):
        Archive.open(tmp_path / "nowhere.sqlite", bench=BENCH)
    with pytest.raises(ArchiveFault, match="there is no folder"):
        Archive.open(tmp_path / "nowhere" / "archive.sqlite", bench=BENCH, create=True)
    assert names(tmp_path) == set()


def test_a_reader_does_not_write(tmp_path: Path) -> None:
    """An archive opened to read refuses an entry."""
    with Archive.open(filled(tmp_path / "archive.sqlite")) as archive, pytest.raises(ArchiveFault, match="for reading"):
        archive.append(check(1), AT)


def test_a_closed_archive_says_so(tmp_path: Path) -> None:
    """A closed archive is closed for good, and closing it again does nothing."""
    archive = Archive.open(filled(tmp_path / "archive.sqlite"))
    archive.close()
    archive.close()
    with pytest.raises(ArchiveFault, match="is closed"):
        archive.heads()


def test_a_digit_altered_by_another_tool_is_found(tmp_path: Path) -> None:
    """One digit altered in one entry, with any tool, is found and named."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE entries SET body = replace(body, '\"difference_um\":4763', '\"difference_um\":1763') WHERE seq = 15",
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded())
    assert [(damage.seq, damage.what) for damage in found.damaged] == [(15, "its text was altered after it was sealed")]


@pytest.mark.parametrize("column", ["bench", "job", "kind", "hash", "body"])
def test_text_that_is_no_unicode_is_found_and_stops_nothing(tmp_path: Path, column: str) -> None:
    """A byte altered so that a text is no Unicode any more is read, found and named; the rest is read as well."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        f"UPDATE entries SET {column} = CAST(x'ff' || substr(CAST({column} AS BLOB), 2) AS TEXT) WHERE seq = 7",  # noqa: S608 -- a test's own text
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound())
        assert sum(archive.jobs().values()) == len(list(story()))
    assert found.entries == len(list(story()))
    assert 7 in [damage.seq for damage in found.damaged]


def test_a_trace_hash_that_is_no_unicode_is_found_and_stops_nothing(tmp_path: Path) -> None:
    """A byte altered in the name of a trace is found at the hold, also where the name is no text any more."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE traces SET hash = CAST(x'ff' || substr(CAST(hash AS BLOB), 2) AS TEXT) "
        "WHERE hash = (SELECT json_extract(body, '$.entry.trace') FROM entries WHERE seq = 7)",
    )
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound())
    ((seq, what),) = [(damage.seq, damage.what) for damage in found.damaged]
    assert seq == 7
    assert what.endswith("stands under a hash that was altered")


def test_a_damaged_or_missing_trace_is_not_handed_out(tmp_path: Path) -> None:
    """A trace that is not what was recorded is never given as if it were."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE traces SET blob = (SELECT blob FROM traces ORDER BY hash LIMIT 1), "
        "blob_hash = (SELECT blob_hash FROM traces ORDER BY hash LIMIT 1)",
    )
    with Archive.open(path) as archive:
        good, *rest = list(archive.stored_traces)
        assert isinstance(archive.trace(good), Trace)
        for name in rest:
            with pytest.raises(ArchiveFault, match="its readings are not the ones that were recorded"):
                archive.trace(name)
        with pytest.raises(ArchiveFault, match="the trace nothing is missing"):
            archive.trace("nothing")


def test_no_altered_byte_of_the_file_is_taken_for_another_record(tmp_path: Path) -> None:
    """A byte altered anywhere in the file is told as damage or refused, or what is read is what was filed."""
    path = filled(tmp_path / "archive.sqlite")
    content = path.read_bytes()
    with Archive.open(path) as archive:
        filed = list(archive.entries())
    other = tmp_path / "other.sqlite"
    told = 0
    for place in range(3, len(content), 211):
        flipped = bytearray(content)
        flipped[place] ^= 0x11
        other.write_bytes(flipped)
        try:
            with Archive.open(other) as archive:
                rows = list(archive.entries())
                found = verify(rows, archive.stored_traces, None, archive.unsound())
        except ArchiveFault:
            told += 1
            continue
        told += not found.good
        assert not found.good or rows == filed
    assert told > 0


def test_a_whole_body_is_read_by_the_shell_of_the_database(tmp_path: Path) -> None:
    """The distribution's own tool for such files reads the entries, as text, with no program of ours."""
    shell = shutil.which("sqlite3")
    if shell is None:
        pytest.skip("the sqlite3 shell is not installed here")
    path = file_job(tmp_path / "archive.sqlite")
    query = "SELECT json_extract(body, '$.entry.canopy.type') FROM entries WHERE seq = 1"
    read = subprocess.run([shell, "-readonly", str(path), query], capture_output=True, text=True, check=True)
    assert read.stdout.strip() == OPENED.canopy["type"]
    assert isinstance(OPENED, JobOpened)
