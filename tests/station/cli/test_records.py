from __future__ import annotations

import base64
import hashlib
import json
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from station.measuring.trace import Trace
from station.records.archive import Archive
from tests.station.cli.commands import run
from tests.station.records.sample_job import BENCH, HELD, JOB, OPENED, file_job, hold, pulled, story

CapFd = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive with the invented job; no test alters it."""
    return file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")


def alter(filed: Path, folder: Path, statement: str) -> Path:
    """Give a copy of the archive, altered as by somebody who takes the guards away first."""
    path = Path(shutil.copy(filed, folder / "altered.sqlite"))
    connection = sqlite3.connect(path, isolation_level=None)
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.execute(statement)
    connection.close()
    return path


def test_the_list_names_the_jobs_and_the_anchor(capfd: CapFd, filed: Path) -> None:
    """A job stands in the list with what it was, its holds and its state; the anchor stands below."""
    ran = run(capfd, "records", "list", "--archive", filed)
    assert ran.status == 0
    heads, job = ran.out.splitlines()[:2]
    assert heads.split() == ["job", "opened", "what", "canopy", "worked", "holds", "state"]
    assert job.startswith(f"{JOB}  2026-03-04 14:02  centre A and B, left  Teasel 190  Ansa Velling")
    assert job.endswith("2 held, 1 not held  signed off 2026-03-04")
    assert f"Anchor of {BENCH}, entry 30:" in ran.out
    listed = run(capfd, "records", "list", "--archive", f"sqlite:///{filed}", "--json").json
    assert listed["jobs"][0]["entries"] == len(list(story()))
    assert listed["heads"][0]["head"] in ran.out.replace(" ", "")


def test_an_archive_without_a_job_says_so(capfd: CapFd, tmp_path: Path) -> None:
    """An archive in which nothing was filed yet lists nothing, and verifies."""
    path = tmp_path / "archive.sqlite"
    Archive.open(path, bench=BENCH, create=True).close()
    ran = run(capfd, "records", "list", "--archive", path)
    assert (ran.status, ran.out) == (0, "No job is filed here yet.\n")
    assert run(capfd, "records", "verify", "--archive", path, "--json").json["head"] is None


def test_a_record_of_a_job_that_is_not_signed_off_says_so(capfd: CapFd, tmp_path: Path) -> None:
    """A report made before the signature is a report, and a warning beside it."""
    path = tmp_path / "archive.sqlite"
    with Archive.open(path, bench=BENCH, create=True) as archive:
        archive.append(OPENED, "2026-03-04T05:06:07.000000Z")
    ran = run(capfd, "records", "report", JOB, "--archive", path, "--out", tmp_path / "record.pdf")
    assert (ran.status, ran.err) == (0, "job 26-0001 is not signed off, and its record says so\n")
    assert run(capfd, "records", "list", "--archive", path).out.splitlines()[1].endswith("none judged  open")


def test_a_job_is_shown_with_everything_that_is_recorded(capfd: CapFd, filed: Path) -> None:
    """The job is shown as a shop reads it, and as JSON with every sealed fact."""
    ran = run(capfd, "records", "show", JOB, "--archive", filed)
    assert ran.status == 0
    for words in (
        "signed off by Ansa Velling",
        "serial number    T190-0417",
        "line set fitted  not recorded",
        "Result",
    ):
        assert words in ran.out, words
    for seq in range(1, len(list(story())) + 1):
        assert f"\n{seq:>5}  2026-03-04 14:" in ran.out
    shown = run(capfd, "records", "show", JOB, "--archive", filed, "--json").json
    assert [entry["seq"] for entry in shown["entries"]] == list(range(1, len(list(story())) + 1))
    assert shown["entries"][0]["entry"]["canopy"]["type"] == "Teasel 190"


@pytest.mark.parametrize("command", ["show", "report", "export"])
def test_a_job_that_is_not_there_is_refused_by_name(capfd: CapFd, filed: Path, command: str) -> None:
    """A mistyped ID is refused, naming the nearest job."""
    ran = run(capfd, "records", command, "26-0007", "--archive", filed)
    assert (ran.status, ran.out) == (2, "")
    assert "found no job '26-0007'" in ran.err
    assert "the nearest is 26-0001" in ran.err
    assert "Traceback" not in ran.err


def test_a_misspelt_command_names_the_nearest(capfd: CapFd) -> None:
    """A command of the records that there is not names the nearest, or all there are."""
    assert "there is no command 'verfy'; the nearest is 'verify'" in run(capfd, "records", "verfy").err
    assert "expected one of backup, export, find" in run(capfd, "records", "xyzzy").err


def test_a_single_hold_is_said_to_be_one(capfd: CapFd, tmp_path: Path) -> None:
    """Counts are said as of one or of many."""
    with Archive.open(tmp_path / "a.sqlite", bench=BENCH, create=True) as archive:
        archive.append(hold((), pulled(1, *HELD), ""), "2026-03-04T05:06:07.000000Z", [pulled(1, *HELD)])
    said = run(capfd, "records", "verify", "--archive", tmp_path / "a.sqlite").out
    assert said.startswith("1 entry and 1 judged hold worked out anew.")


def test_a_whole_archive_verifies_with_status_0(capfd: CapFd, filed: Path) -> None:
    """Nothing damaged and no verdict changed is status 0."""
    ran = run(capfd, "records", "verify", "--archive", filed)
    assert (ran.status, ran.err) == (0, "")
    assert "30 entries and 3 judged holds worked out anew." in ran.out
    assert "Nothing is damaged, and every verdict follows from its stored trace." in ran.out
    assert "see --anchor" in ran.out
    answer = run(capfd, "records", "verify", "--archive", filed, "--json").json
    expected = {"entries": 30, "holds": 3, "damaged": [], "verdicts_changed": [], "anchored_to": None}
    assert {key: answer[key] for key in expected} == expected


def test_an_anchor_from_paper_is_found(capfd: CapFd, filed: Path) -> None:
    """An anchor typed as it stands on paper, in groups and capitals, says up to where it vouches."""
    anchor = run(capfd, "records", "list", "--archive", filed).out.splitlines()[4].strip().upper()
    ran = run(capfd, "records", "verify", "--archive", filed, "--anchor", anchor)
    assert ran.status == 0
    assert "The anchor is the hash of entry 30: it vouches for that entry and all before it." in ran.out
    assert run(capfd, "records", "verify", "--archive", filed, "--anchor", anchor, "--json").json["anchored_to"] == 30


def test_an_anchor_that_is_not_there_is_damage(capfd: CapFd, filed: Path) -> None:
    """An anchor of no entry here ends with 1; what is no anchor at all with 2."""
    ran = run(capfd, "records", "verify", "--archive", filed, "--anchor", "ab" * 32)
    assert ran.status == 1
    assert "is of no entry here: the archive was cut or rebuilt since" in " ".join(ran.out.split())
    ran = run(capfd, "records", "verify", "--archive", filed, "--anchor", "abc")
    assert (ran.status, ran.out) == (2, "")
    assert "expected an anchor: sixty-four" in ran.err


def test_an_altered_digit_is_found_and_named_with_status_1(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """One digit altered in one entry ends with 1, and names the entry and what happened to it."""
    statement = """UPDATE entries SET body = replace(body, '"held_us":30000000', '"held_us":31000000') WHERE seq = 7"""
    path = alter(filed, tmp_path, statement)
    ran = run(capfd, "records", "verify", "--archive", path)
    assert ran.status == 1
    assert "Entry 7: its text was altered after it was sealed." in ran.out
    answer = run(capfd, "records", "verify", "--archive", path, "--json").json
    assert [damage["seq"] for damage in answer["damaged"]] == [7]
    assert [changed["seq"] for changed in answer["verdicts_changed"]] == [7]
    assert len(answer["remarks"]) == 6
    shown = run(capfd, "records", "show", JOB, "--archive", path)
    assert shown.status == 0


def test_an_unreadable_entry_hides_no_other(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A text that is no text any more is shown as damaged, in words and in JSON, and the rest is shown."""
    path = alter(filed, tmp_path, "UPDATE entries SET body = CAST(x'ff' || CAST(body AS BLOB) AS TEXT) WHERE seq = 1")
    ran = run(capfd, "records", "show", JOB, "--archive", path)
    assert ran.status == 0
    assert "The entry that opens this job is missing or damaged." in ran.out
    assert "    1  DAMAGED: its text cannot be read" in ran.out
    assert "   30  2026-03-04" in ran.out
    shown = run(capfd, "records", "show", JOB, "--archive", path, "--json").json
    assert shown["entries"][0]["damaged"] == "its text cannot be read"
    listed = run(capfd, "records", "list", "--archive", path)
    assert listed.status == 0
    assert "not recorded" in listed.out
    exported = run(capfd, "records", "export", JOB, "--archive", path)
    assert (exported.status, exported.lines[0]["seq"]) == (0, 1)
    report = run(capfd, "records", "report", JOB, "--archive", path, "--out", tmp_path / "record.pdf")
    assert report.status == 0


def test_the_record_is_written_as_a_pdf(
    capfd: CapFd, filed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The report lands where it is asked for, or under the job's ID, on either paper, the same bytes each time."""
    monkeypatch.chdir(tmp_path)
    assert run(capfd, "records", "report", JOB, "--archive", filed).status == 0
    named = run(capfd, "records", "report", JOB, "--archive", filed, "--out", "record.pdf")
    assert named.out.startswith("record.pdf: record of job 26-0001; anchor of entry 30: ")
    assert run(capfd, "records", "report", JOB, "--archive", filed, "--out", "a4.pdf", "--paper", "a4").status == 0
    assert Path("26-0001.pdf").read_bytes() == Path("record.pdf").read_bytes() != Path("a4.pdf").read_bytes()
    assert {each.name for each in tmp_path.iterdir()} == {"26-0001.pdf", "record.pdf", "a4.pdf"}


def test_a_report_that_cannot_be_written_is_told(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A folder that is not there is told by the file's name, without a traceback."""
    ran = run(capfd, "records", "report", JOB, "--archive", filed, "--out", tmp_path / "nowhere" / "record.pdf")
    assert (ran.status, ran.out) == (2, "")
    assert "record.pdf" in ran.err
    assert "Traceback" not in ran.err


def test_an_export_can_be_checked_without_this_program(capfd: CapFd, filed: Path) -> None:
    """Each line is JSON; hashes are those of the bodies' and traces' bytes, and each body names the one before."""
    ran = run(capfd, "records", "export", JOB, "--archive", filed)
    assert ran.status == 0
    prev, named, traces = "0" * 64, set(), set()
    for line in ran.lines:
        if "trace" in line:
            packed = base64.b64decode(line["packed"])
            assert hashlib.sha256(packed).hexdigest() == line["trace"]
            assert len(Trace.unpack(packed)) > 0
            traces.add(line["trace"])
            continue
        assert hashlib.sha256(line["body"].encode()).hexdigest() == line["hash"]
        body = json.loads(line["body"])
        assert body["prev"] == prev
        prev = line["hash"]
        named |= {body["entry"]["trace"]} if "trace" in body["entry"] else set()
    assert named == traces
    assert len(traces) == 5


def test_an_export_of_a_damaged_job_says_what_is_missing(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A trace that is not as it was recorded is not exported as if it were, and the status says so."""
    path = alter(filed, tmp_path, "UPDATE traces SET blob = x'00'")
    ran = run(capfd, "records", "export", JOB, "--archive", path)
    assert ran.status == 1
    assert len(ran.lines) == len(list(story()))
    assert ran.err.count("is damaged: records verify says more") == 5


def test_an_export_as_json_is_one_document(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """With --json the lines stand in one list; into a file they stay lines, and the answer says how many."""
    lines = run(capfd, "records", "export", JOB, "--archive", filed).lines
    assert run(capfd, "records", "export", JOB, "--archive", filed, "--json").json == lines
    for form, entries in (("jsonl", 30), ("csv", 30), ("parquet", 30)):
        out = tmp_path / f"all.{form}"
        ran = run(capfd, "records", "export", "--archive", filed, "--form", form, "--out", out, "--json")
        assert ran.json == {"file": str(out), "form": form, "entries": entries, "missing": []}
    assert [json.loads(line) for line in (tmp_path / "all.jsonl").read_text().splitlines()] == lines
    nothing = tmp_path / "nothing.sqlite"
    Archive.open(nothing, bench=BENCH, create=True).close()
    assert run(capfd, "records", "export", "--archive", nothing, "--json").json == []
    refused = run(capfd, "records", "export", "--archive", filed, "--form", "csv", "--json")
    assert (refused.status, refused.out, "--out" in refused.err) == (2, "", True)


def test_a_report_as_json_says_what_it_wrote(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """Files, anchor and logbook line are one document."""
    pdf, card = tmp_path / "job.pdf", tmp_path / "card.pdf"
    ran = run(capfd, "records", "report", JOB, "--archive", filed, "--out", pdf, "--label", card, "--json")
    listed = run(capfd, "records", "list", "--archive", filed, "--json").json["heads"][0]
    assert (ran.json["job"], ran.json["file"], ran.json["label"]) == (JOB, str(pdf), str(card))
    assert (ran.json["seq"], ran.json["head"], ran.json["signed_off"]) == (listed["seq"], listed["head"], True)
    said = run(capfd, "records", "report", JOB, "--archive", filed, "--out", pdf).out
    assert f"For the logbook: {ran.json['logbook']}\n" in said


def test_a_backup_verifies(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A backup is an archive with the same head; nothing is replaced by one."""
    copy = tmp_path / "copy.sqlite"
    ran = run(capfd, "records", "backup", copy, "--archive", filed)
    assert ran.status == 0
    assert f"{BENCH} up to entry 30, anchor " in ran.out
    assert run(capfd, "records", "verify", "--archive", copy).status == 0
    other = run(capfd, "records", "backup", tmp_path / "other.sqlite", "--archive", filed, "--json").json
    assert list(other["heads"]) == [BENCH]
    again = run(capfd, "records", "backup", copy, "--archive", filed, "--json")
    assert (again.status, again.out) == (2, "")
    assert "is there already" in again.err


COMMANDS = ["list", "list --json", f"show {JOB}", f"show {JOB} --json", "verify", "verify --json", f"report {JOB}"]


@pytest.mark.parametrize("command", [*COMMANDS, f"export {JOB}", "backup copy.sqlite", "backup copy.sqlite --json"])
def test_an_archive_that_cannot_be_read_ends_with_2_and_one_line(
    capfd: CapFd, tmp_path: Path, command: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing archive, or a file that is none, is told in one line that names it, and nothing is made."""
    monkeypatch.chdir(tmp_path)
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear Ansa, " * 100)
    for path, why in ((tmp_path / "nowhere.sqlite", "there is no archive here"), (letter, "is not an archive")):
        ran = run(capfd, "records", *command.split(), "--archive", path)
        assert (ran.status, ran.out) == (2, "")
        assert len(ran.err.splitlines()) == 1
        assert str(path) in ran.err
        assert why in ran.err
    assert {each.name for each in tmp_path.iterdir()} == {"letter.txt"}


def test_the_archive_is_asked_for(capfd: CapFd) -> None:
    """Without an archive the command says what is missing."""
    ran = run(capfd, "records", "list")
    assert ran.status == 2
    assert "--archive" in ran.err


def test_ctrl_c_ends_an_export_with_130_and_no_traceback(filed: Path) -> None:
    """An export that waits for its reader is stopped by Ctrl-C: status 130, and one word of why."""
    command = [sys.executable, "-c", "from station.cli import main; main()", "records", "export", "--archive", filed]
    pipes = subprocess.PIPE
    with subprocess.Popen(command, stdout=pipes, stderr=pipes, start_new_session=True, text=True) as exporting:
        assert exporting.stdout is not None
        select.select([exporting.stdout], [], [], 30)  # it has begun, and more comes than the pipe holds
        exporting.send_signal(signal.SIGINT)
        out, err = exporting.communicate(timeout=30)
    assert (exporting.returncode, err.strip()) == (130, "stopped")
    assert len(out.splitlines()) < 35
