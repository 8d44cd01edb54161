from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from station.records.archive import Archive
from station.records.job_sheet import JobSheet
from station.records.label import LABEL_SIZE, label
from tests.station.cli.commands import run
from tests.station.records.archives import AT
from tests.station.records.sample_job import BENCH, JOB, OPENED, file_job

CapFd = pytest.CaptureFixture[str]
# Debian packages poppler-utils, which draws a PDF, and zbar-tools, which reads codes in pictures as a camera does.
TOOLS = PDFTOPPM, PDFTOTEXT, ZBARIMG = tuple(shutil.which(tool) for tool in ("pdftoppm", "pdftotext", "zbarimg"))
needs_tools = pytest.mark.skipif(None in TOOLS, reason="no pdftoppm, pdftotext and zbarimg to read the code with")


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive with the invented job; no test alters it."""
    return file_job(tmp_path_factory.mktemp("filed") / "archive.sqlite")


def codes(pdf: Path) -> list[str]:
    """Give what a camera reads in a PDF's pages, as drawn for a 150 dpi printer."""
    subprocess.run([str(PDFTOPPM), "-r", "150", "-gray", "-png", pdf, pdf.with_suffix("")], check=True)
    pictures = sorted(pdf.parent.glob(f"{pdf.stem}-*.png"))
    command = [str(ZBARIMG), "--quiet", "--raw", "--nodbus", *map(str, pictures)]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout.split()


@needs_tools
@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_a_camera_reads_the_anchor_from_the_record_and_the_label(
    capfd: CapFd, filed: Path, tmp_path: Path, paper: str
) -> None:
    """On either paper, the code in the record and on the label is the head's hash, which verify takes as an anchor."""
    record, card = tmp_path / "record.pdf", tmp_path / "label.pdf"
    words = ["records", "report", JOB, "--archive", filed, "--out", record, "--paper", paper, "--label", card]
    assert run(capfd, *words).status == 0
    with Archive.open(filed) as archive:
        head = archive.head()
    assert head is not None
    assert codes(record) == codes(card) == [head.hash]
    anchored = run(capfd, "records", "verify", "--archive", filed, "--anchor", codes(card)[0], "--json")
    assert anchored.json["anchored_to"] == 30


@needs_tools
def test_a_label_says_what_a_packer_asks_for(filed: Path, tmp_path: Path) -> None:
    """One small page has job, canopy, line, holds, who signed and when."""
    with Archive.open(filed) as archive:
        (tmp_path / "label.pdf").write_bytes(label(JobSheet.of(JOB, archive.entries(JOB))))
    command = [str(PDFTOTEXT), "-layout", str(tmp_path / "label.pdf"), "-"]
    text = subprocess.run(command, capture_output=True, check=True).stdout.decode()
    for words in (
        "job 26-0001",
        "Teasel 190, serial T190-0417",
        "A2, B2",
        "both pieces held",
        "1 earlier try not held",
        "Ansa Velling",
    ):
        assert words in " ".join(text.split())
    assert text.count("\f") == 1
    assert LABEL_SIZE[0] < 300


def test_the_same_job_gives_the_same_label(filed: Path) -> None:
    """Made twice, the label is the same file."""
    with Archive.open(filed) as archive:
        sheet = JobSheet.of(JOB, archive.entries(JOB))
    assert label(sheet) == label(sheet)


def test_the_logbook_line_is_one_line(capfd: CapFd, filed: Path, tmp_path: Path) -> None:
    """A job's line for the logbook has date, canopy, line, basis, holds, who, and where to look."""
    said = run(capfd, "records", "report", JOB, "--archive", filed, "--out", tmp_path / "record.pdf").out
    (line,) = [each for each in said.splitlines() if each.startswith("For the logbook: ")]
    assert line.startswith(
        "For the logbook: 2026-03-04; Teasel 190, serial T190-0417; centre A and B, left (left, A2, B2); worked to "
        "Teasel manual, revision 4, page 31; pre-stretch: both pieces held, 1 earlier try not held; Ansa Velling, "
        "GG-118; job 26-0001, entry 30, anchor "
    )


def test_a_job_that_is_not_signed_off_says_so_on_its_label_and_in_the_logbook(tmp_path: Path) -> None:
    """What is not finished is not shown as finished."""
    with Archive.open(tmp_path / "archive.sqlite", bench=BENCH, create=True) as archive:
        archive.append(OPENED, AT)
        sheet = JobSheet.of(JOB, archive.entries(JOB))
    assert "Ansa Velling, GG-118, NOT SIGNED OFF; job 26-0001, entry 1" in sheet.logbook_line()
    assert label(sheet).startswith(b"%PDF-")
    assert "not recorded, serial not recorded" in JobSheet.of("26-0009", []).logbook_line()
