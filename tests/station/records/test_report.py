from __future__ import annotations

import dataclasses
import hashlib
import os
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from reportlab.platypus import Flowable

from station.measuring.trace import OVERLOAD, Trace
from station.records.archive import ArchiveFault
from station.records.chain import FIRST_PREV, seal
from station.records.entries import (
    Amended,
    Checked,
    Entry,
    HoldByHand,
    LineCompared,
    Overridden,
    PieceReleased,
    PieceScrapped,
    ScaleChecked,
    body_of,
)
from station.records.job_sheet import JobSheet, Told
from station.records.line_picture import line_picture
from station.records.report import report
from station.records.rows import Row
from station.records.trace_picture import runs
from station.records.words import DEFERRAL, REASONS, groups
from station.settings.preferences import Paper
from station.settings.reline import reline_text
from tests.station.records.sample_job import BENCH, CASCADE, HELD, JOB, OPENED, PLAN, SPECIFICATION, hold, pulled, story

# PDF, read and rendered by the distribution's own tools (Debian package poppler-utils).
PDFTOTEXT, PDFINFO, PDFFONTS = (shutil.which(tool) for tool in ("pdftotext", "pdfinfo", "pdffonts"))
needs_reader = pytest.mark.skipif(
    None in {PDFTOTEXT, PDFINFO, PDFFONTS}, reason="no pdftotext, pdfinfo and pdffonts (poppler-utils) to read it with"
)


def filed(*told: tuple[Entry, tuple[Trace, ...]]) -> tuple[JobSheet, dict[str, Trace]]:
    """Give the sheet of a job with these entries, and its traces by their hashes."""
    rows: list[Row] = []
    traces: dict[str, Trace] = {}
    for seq, (entry, come_with) in enumerate(told, 1):
        facts = body_of(entry)
        at = f"2026-03-04T14:{seq // 60:02d}:{seq % 60:02d}.000000Z"
        link = seal(rows[-1].hash if rows else FIRST_PREV, BENCH, seq, at, facts)
        rows.append(Row(BENCH, seq, JOB, facts["kind"], link.hash, link.body))
        traces |= {hashlib.sha256(each.pack()).hexdigest(): each for each in come_with}
    return JobSheet.of(JOB, rows), traces


@cache
def sample() -> tuple[JobSheet, dict[str, Trace]]:
    """Give the invented job."""
    return filed(*story())


def read(pdf: bytes, tmp_path: Path, *options: str) -> str:
    """Give the text of a PDF as the distribution's reader reads it."""
    (tmp_path / "record.pdf").write_bytes(pdf)
    command = [str(PDFTOTEXT), "-layout", *options, str(tmp_path / "record.pdf"), "-"]
    return subprocess.run(command, capture_output=True, check=True).stdout.decode()


def flowed(text: str) -> str:
    """Give text with every run of white space as one space."""
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("paper", ["letter", "a4"])
def test_the_same_job_gives_the_same_bytes(paper: Paper) -> None:
    """Made twice, the report is the same file, and on the other paper another one."""
    sheet, traces = sample()
    assert report(sheet, traces.__getitem__, paper) == report(sheet, traces.__getitem__, paper)
    other: Paper = "a4" if paper == "letter" else "letter"
    assert report(sheet, traces.__getitem__, paper) != report(sheet, traces.__getitem__, other)


def test_another_program_run_gives_the_same_bytes(tmp_path: Path) -> None:
    """Another run, on another day, in another zone and with other hash seeds, gives the same file."""
    sheet, traces = sample()
    program = (
        "import sys, hashlib; from tests.station.records.test_report import sample, report;"
        "sheet, traces = sample(); report(sheet, traces.__getitem__, 'letter');"
        "print(hashlib.sha256(report(sheet, traces.__getitem__, 'a4')).hexdigest())"
    )
    environment = os.environ | {"PYTHONHASHSEED": "77", "TZ": "Pacific/Auckland", "SOURCE_DATE_EPOCH": "1"}
    run = subprocess.run(
        [sys.executable, "-c", program],
        cwd=Path(__file__).parents[3],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.strip() == hashlib.sha256(report(sheet, traces.__getitem__, "a4")).hexdigest()
    assert not list(tmp_path.iterdir())


@needs_reader
@pytest.mark.parametrize(("paper", "size"), [("letter", "612 x 792 pts (letter)"), ("a4", "595.276 x 841.89 pts (A4)")])
def test_page_1_says_what_whose_what_was_done_on_what_basis_and_with_what_result(
    tmp_path: Path, paper: Paper, size: str
) -> None:
    """On the first page stands everything that a logbook asks for, with room to sign."""
    sheet, traces = sample()
    pdf = report(sheet, traces.__getitem__, paper)
    page = flowed(read(pdf, tmp_path, "-l", "1"))
    for words in (
        f"Job {JOB}",
        "Signed off by Ansa Velling, certificate GG-118, 2026-03-04",
        "Pre-stretch: both pieces held, 1 earlier try not held",
        "Teasel 190",
        "T190-0417",
        "Ilse Marrow",
        "burr on the slider's left front",
        "Teasel manual, revision 4, page 31",
        "Tobin Hask",
        "the loft's own approval",
        "none made",
        "line set fitted not recorded",
        "H-2231",
        "scale check U 0.2 lbf,",
        "pre-stretch held; 30.0 s between",
        "level with its reference, after sewing",
        "inspected by Tobin Hask",
        "Work done by",
        "Inspected by",
        "signature",
        "certificate, number",
        groups(sheet.last_hash),
        DEFERRAL,
        "Recorded by fidbench 0.1.0. Holds judged by rule version 1.",
        "page 1 of 5",
    ):
        assert words in page, words
    about = subprocess.run([str(PDFINFO), str(tmp_path / "record.pdf")], capture_output=True, text=True, check=True)
    assert size in about.stdout
    assert f"Record of line work, job {JOB}" in about.stdout
    assert re.search(r"CreationDate: .*Mar +4 14:00:30 2026", about.stdout)


@needs_reader
def test_the_annex_holds_every_measurement_and_every_entry(tmp_path: Path) -> None:
    """After the first page come the holds, marks, traps, comparisons, tacks, checks, blind spots and all entries."""
    sheet, traces = sample()
    annex = flowed(read(report(sheet, traces.__getitem__), tmp_path, "-f", "2"))
    for words in (
        "Hold 1 of 3, piece 12: not held: the pull never came into the band",
        "Hold 2 of 3, piece 12: held",
        "Asked for: 30.0 lbf (133.4 N) for 30.0 s; band 28.0 lbf (124.5 N) to 45.0 lbf (200.2 N); never over 60.0",
        "ceiling 60.0",
        "accepted from 28.2",
        "30.0 s in the band",
        "8, done again B into A",
        "3/16 in (4.8 mm) long",
        "taken in by 3/16 in (5.1 mm)",
        "bar tack, trial on scrap",
        "pins counted back",
        "What the bench cannot see",
        "a dip of the pull shorter than 0.113 s",
        "10 degrees off the axis is 1.5 % of the pull",
        "whether it was this piece",
        "Never wrap line round a hand or finger",
        f'fidbench records verify --archive FILE --anchor "{groups(sheet.last_hash)}"',
        'link_end = { joins = "A", at = "48 in", trap = "5 in" }',
    ):
        assert words in annex, words
    for told in sheet.told:
        assert re.search(rf"\b{told.seq} +2026-03-04 14:", annex), told


@needs_reader
def test_every_font_is_embedded(tmp_path: Path) -> None:
    """Wherever the file is opened, it looks the same: every font is in it."""
    sheet, traces = sample()
    (tmp_path / "record.pdf").write_bytes(report(sheet, traces.__getitem__))
    listed = subprocess.run([str(PDFFONTS), str(tmp_path / "record.pdf")], capture_output=True, text=True, check=True)
    fonts = listed.stdout.splitlines()[2:]
    assert {re.sub(r"^[A-Z]+\+", "", line.split()[0]) for line in fonts} == {"B612-Regular", "B612-Bold"}
    assert all(re.search(r"TrueType +\S+ +yes yes", line) for line in fonts)


LONG = "The grommet was looked at twice. " * 20
HOSTILE = "<b>Marrow</b> & <img src='x'/> Łucja 中 \u202e\x07"


@cache
def troubled() -> tuple[JobSheet, Mapping[str, Trace]]:
    """Give a job in which much went wrong: an overload, a lost link, a coarse scale, a hand pull, no signature."""
    good = pulled(2, *HELD)
    over = dataclasses.replace(good, status=good.status.copy())
    over.status[1_300:1_340] = OVERLOAD
    gap = Trace.joined([good[:1_200], good[1_400:]])
    lost = pulled(5, *CASCADE)
    minutes = pulled(6, (1, 0, 0), (3, 0, 33), (900, 33, 31), (1, 0, 0))
    narrow = dataclasses.replace(SPECIFICATION, high_mn=135_000, ceiling_mn=150_000, name="narrow")
    quarter = dataclasses.replace(SPECIFICATION, duration_us=900_000_000, name="quarter of an hour")
    opened = dataclasses.replace(
        OPENED,
        owner={"name": HOSTILE, "address": ""},
        people={"worker": HOSTILE},
        work={"cause": LONG, "extra_fact": "told as well"},
        plan_toml='name = "<b>"\n' * 90,
    )
    return filed(
        (opened, ()),
        (hold(("12",), over, "A: pre-stretch"), (over,)),
        (PieceReleased(job=JOB, piece="12", by="Tobin Hask", reason=LONG), ()),
        (hold(("12",), gap, "A: pre-stretch", links_lost=("the cable came out",)), (gap,)),
        (hold(("13", "14"), lost, "B: pre-stretch", uncertainty=None, specification=narrow), ()),
        (hold(("13", "14"), minutes, "B: pre-stretch", specification=quarter), (minutes,)),
        (HoldByHand(job=JOB, pieces=("15",), by="Ansa Velling"), ()),
        (PieceScrapped(job=JOB, piece="14", by="Ansa Velling", reason="overloaded"), ()),
        (Overridden(job=JOB, step="A: marks", by="Tobin Hask", reason=HOSTILE), ()),
        (Amended(job=JOB, seq=1, text=LONG * 5, reason="misread", by="Ansa Velling"), ()),
        *((Checked(job=JOB, step="checks", check=f"check {n}"), ()) for n in range(60)),
    )


@needs_reader
def test_a_troubled_job_is_printed_with_all_its_trouble(tmp_path: Path) -> None:
    """What went wrong, what is unknown and what a person typed is printed as it is, however long and odd it is."""
    sheet, traces = troubled()
    text = flowed(read(report(sheet, traces.__getitem__), tmp_path))
    for words in (
        "NOT SIGNED OFF: this job is not finished",
        "Hold 1 of 4, piece 12: void: the scale said that it was overloaded",
        "over capacity",
        "the cable came out",
        "No picture can be drawn",
        "not known",
        "900.0 s in the band",
        "pulled by hand, not measured, by Ansa Velling",
        "released for use by Tobin Hask",
        "piece 14 SCRAPPED by Ansa Velling (entry 8); pre-stretch held",
        "piece 14 scrapped by Ansa Velling: overloaded",
        "Hold 3 of 4, pieces 13, 14: not held",
        "<b>Marrow</b> & <img src='x'/> Łucja [U+4E2D] [U+202E][U+0007]",
        "extra fact told as well",
        "... (in full in the annex)",
        "Facts too long for page 1",
        "put right by Ansa Velling",
        'name = "<b>"',
        "check 59",
    ):
        assert words in text, words
    assert text.count("The grommet was looked at twice.") > 120


@needs_reader
def test_a_damaged_trace_is_said_to_be_damaged_where_its_picture_would_be(tmp_path: Path) -> None:
    """Where the archive will not give a trace, the page says why, and the rest is printed."""
    sheet, _ = sample()

    def refused(name: str) -> Trace:
        raise ArchiveFault(f"archive.sqlite: the trace {name}: its stored bytes were altered and cannot be unpacked")

    text = flowed(read(report(sheet, refused), tmp_path))
    assert text.count("No picture can be drawn: archive.sqlite: the trace") == 3
    assert "its stored bytes were altered" in text


@needs_reader
def test_a_job_whose_opening_is_lost_says_so(tmp_path: Path) -> None:
    """Without the entry that opens it, a job is printed as one of which this is not known; no canopy is made up."""
    sheet, traces = filed((Checked(job=JOB, check="no twist"), ()))
    text = flowed(read(report(sheet, traces.__getitem__), tmp_path))
    assert "The entry that opens this job is missing or damaged" in text
    assert "Recorded by not recorded" in text
    assert "No hold was judged." in text


@needs_reader
def test_a_drawing_is_printed_where_one_is_given(tmp_path: Path) -> None:
    """The drawing of the line has its place in the annex."""

    class Drawing(Flowable):  # type: ignore[misc]  # reportlab ships no types for its flowables
        def __init__(self, width: float) -> None:
            super().__init__()
            self.width = width

        def wrap(self, _width: float, _height: float) -> tuple[float, float]:
            return self.width, 80.0

        def draw(self) -> None:
            self.canv.drawString(0, 40, "here the line is drawn")

    sheet, traces = sample()
    text = flowed(read(report(sheet, traces.__getitem__, drawing=lambda width: [Drawing(width)]), tmp_path))
    assert "The line and its marks here the line is drawn" in text
    assert "The line and its marks" not in flowed(read(report(sheet, traces.__getitem__), tmp_path))


@needs_reader
def test_the_line_is_drawn_from_the_plan_that_the_job_was_opened_with(tmp_path: Path) -> None:
    """The drawing shows each line with its length and each trap's number, and says what was made."""
    sheet, traces = sample()
    text = flowed(read(report(sheet, traces.__getitem__, drawing=line_picture(sheet)), tmp_path))
    for words in ("A, 120 in", "B, 75 in", "link", "2 B enters", "From the line plan. To scale."):
        assert words in text, words
    assert report(sheet, traces.__getitem__) != report(sheet, traces.__getitem__, drawing=line_picture(sheet))


@needs_reader
def test_a_loop_in_mid_line_and_plain_marks_are_drawn(tmp_path: Path) -> None:
    """The drawing of a lower control line shows its brake loop's trap and its toggle mark, and stands open there."""
    plan = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    sheet, _ = filed((dataclasses.replace(OPENED, plan_toml=plan), ()))
    drawn = flowed(read(report(sheet, {}.__getitem__, drawing=line_picture(sheet)), tmp_path))
    without = flowed(read(report(sheet, {}.__getitem__), tmp_path))
    assert "lower control, 80 in" in drawn
    assert drawn.count("toggle") == without.count("toggle") + 1
    drawing = line_picture(sheet)
    assert drawing is not None
    (line,) = drawing(400)
    assert [len(each.loops) for each in line.placed.lines] == [1]  # type: ignore[attr-defined]  # a line picture's own


@needs_reader
def test_trials_behind_an_allowance_are_drawn(tmp_path: Path) -> None:
    """Where a plan's allowance came from trials the annex shows each source as a plot, suspects by their row."""
    trials = ", ".join(
        f'{{ trap = "{trap} in", shortening = "{shortening} in" }}'
        for trap, shortening in ((5, 0.31), (6, 0.38), (4, 0.24), (6, 0.36), (5, 0.32), (6, 0.9))
    )
    plan = re.sub(r"(?m)^(coefficient|standard_uncertainty) = .*$", "", PLAN)
    plan = plan.replace("[shrinkage]", f"[shrinkage]\ntrials = [{trials}]")
    sheet, _ = filed((dataclasses.replace(OPENED, plan_toml=plan), ()))
    text = flowed(read(report(sheet, {}.__getitem__, drawing=line_picture(sheet)), tmp_path))
    for words in ("The shortening: 6 trials", "length of the trap", "row 6", "95 of 100 new traps", "look again"):
        assert words in text, words
    sheet, _ = filed((OPENED, ()))
    assert "length of the trap" not in flowed(
        read(report(sheet, {}.__getitem__, drawing=line_picture(sheet)), tmp_path)
    )


def test_a_plan_of_unknown_lengths_is_drawn_broken() -> None:
    """A line whose length is not known is drawn, and told to be not to scale."""
    unmeasured = PLAN.replace('length = "120 in"', "").replace('length = "75 in"', "")
    sheet, _ = filed((dataclasses.replace(OPENED, plan_toml=unmeasured), ()))
    drawing = line_picture(sheet)
    assert drawing is not None
    assert "Not to scale" in getattr(drawing(400)[0], "caption", "")
    assert report(sheet, {}.__getitem__, drawing=drawing).startswith(b"%PDF-")


@needs_reader
def test_each_plan_of_a_set_is_drawn_once_for_all_its_lines(tmp_path: Path) -> None:
    """A whole reline has a drawing of each of its plans in the annex, named for the lines that it made."""
    toml = reline_text("config/jobs/whole-reline.toml")
    plans = tomllib.loads(toml)["plans"]
    opened = dataclasses.replace(OPENED, plan_toml=toml)
    sheet, _ = filed((opened, ()))
    text = flowed(read(report(sheet, {}.__getitem__, drawing=line_picture(sheet)), tmp_path))
    assert text.count("The line and its marks") == 1
    assert text.count("From the line plan.") == len(plans)
    assert "one-cascade.toml: A 1 left, A 1 right" in text
    assert "drawn as A 1 left" in text
    assert text.index("Annex:") < text.index("The line and its marks")


@needs_reader
@pytest.mark.parametrize("plan", ["", "no toml [", '[plan]\nname = "x"', PLAN.replace("48 in", "4800 in")])
def test_a_plan_that_cannot_be_drawn_is_said_to_be_so(tmp_path: Path, plan: str) -> None:
    """A plan that is missing or makes no sense has no drawing, and the page says why."""
    sheet, _ = filed((dataclasses.replace(OPENED, plan_toml=plan), ()))
    text = flowed(read(report(sheet, {}.__getitem__, drawing=line_picture(sheet)), tmp_path))
    assert "The line and its marks No drawing can be made: " in text
    assert line_picture(JobSheet.of(JOB, [])) is None


def test_gaps_in_a_trace_are_gaps_in_its_picture() -> None:
    """Readings too far apart, without a tension, or out of order are not joined by a line; none is lost."""
    at_us = np.array([0, 100, 200, 1_000, 1_100, 1_200, 1_200, 1_300], np.int64)
    status = np.zeros(8, np.int8)
    status[4] = OVERLOAD
    trace = Trace(at_us, np.arange(8, dtype=np.int64), status, np.zeros(8, np.int8))
    assert [tensions.tolist() for _, tensions in runs(trace, 250)] == [[0, 1, 2], [3], [5], [6, 7]]
    assert list(runs(trace[4:5], 250)) == []
    assert list(runs(Trace.empty(), 250)) == []


def test_every_reason_fits_the_report() -> None:
    """A verdict with every reason there is can be printed."""
    judged = hold(("12",), pulled(2, *HELD), "A")
    everything = dict(judged.judgement) | {"verdict": "void", "reasons": list(REASONS)}
    sheet, _ = filed((OPENED, ()), (dataclasses.replace(judged, judgement=everything), ()))
    assert report(sheet, {judged.trace: pulled(2, *HELD)}.__getitem__).startswith(b"%PDF-")


@needs_reader
def test_an_odd_hold_is_printed_as_what_it_is(tmp_path: Path) -> None:
    """A plain decision, an unknown response, a piece without a number and an overload at the end are all told."""
    trace = pulled(2, *HELD)
    over = dataclasses.replace(trace, status=trace.status.copy())
    over.status[-30:] = OVERLOAD
    plain = dataclasses.replace(SPECIFICATION, guarded=False)
    judged = hold((), over, "A", specification=plain)
    unknown = dict(judged.judgement) | {"blind_to_us": None}
    opened = dataclasses.replace(OPENED, owner={"name": "Ilse\nMarrow"})
    sheet, traces = filed((opened, ()), (dataclasses.replace(judged, judgement=unknown, response_us=None), (over,)))
    text = flowed(read(report(sheet, traces.__getitem__), tmp_path))
    for words in (
        "Hold 1 of 1, a piece without a number: void: the scale said that it was overloaded",
        "nothing: a plain decision",
        "blind to dips under not known",
        "a short dip of the pull; how short is not known for every hold",
        "over capacity",
    ):
        assert words in text, words
    assert "U+000A" not in text


def test_forty_lines_fit_the_report() -> None:
    """A whole reline with a hundred and twenty pieces is printed, over as many pages as it takes."""
    holds = [(hold((str(n),), pulled(2, (0.2, 30, 31)), f"{n}: pre-stretch"), ()) for n in range(120)]
    compared = [
        LineCompared(
            job=JOB,
            line=f"A{n}",
            method="in turn",
            difference_um=0,
            reference_pull_mn=None,
            line_pull_mn=None,
            after_sewing=True,
        )
        for n in range(40)
    ]
    sheet, _ = filed((OPENED, ()), *holds, *((each, ()) for each in compared))
    trace = pulled(2, (0.2, 30, 31))
    assert report(sheet, lambda _: trace, "a4").startswith(b"%PDF-")


@needs_reader
@pytest.mark.parametrize(("paper", "said"), [("letter", "short"), ("a4", "at length")])
def test_page_one_keeps_the_result_and_room_for_ink(tmp_path: Path, paper: Paper, said: str) -> None:
    """However many pieces and however long the names, page 1 ends with the signatures; what has no room is annexed."""
    opened = OPENED
    if said == "at length":
        long = "Maximiliane of the Long Valley and Sons " * 8
        groups_of_facts = ("canopy", "owner", "work", "people", "stock", "sewing", "measuring")
        opened = dataclasses.replace(
            OPENED, **{name: dict.fromkeys(getattr(OPENED, name), long) for name in groups_of_facts}
        )
    level = {"method": "in turn", "difference_um": 0, "reference_pull_mn": 44_000, "line_pull_mn": 44_100}
    compared = [(LineCompared(job=JOB, line=f"A{n}", after_sewing=True, **level), ()) for n in range(12, 60)]  # type: ignore[arg-type] -- each is of its field's type
    passed = Overridden(job=JOB, step="A: route", by="Ansa Velling", reason="the maker's letter")
    sheet, traces = filed((opened, ()), *compared, (passed, ()))
    pdf = report(sheet, traces.__getitem__, paper)
    first = flowed(read(pdf, tmp_path, "-l", "1"))
    assert first.count("signature") == first.count("certificate, number") == 2
    assert "the maker's letter" in first
    assert re.search(r"\d+ results in the annex, all of them sound, held or level", first)
    assert "line A59" in flowed(read(pdf, tmp_path, "-f", "2"))


@needs_reader
def test_page_1_names_the_scale_check_in_force(tmp_path: Path) -> None:
    """Where nothing was typed of a scale check, page 1 names the entries of those in force; what was typed stands."""
    check = ScaleChecked(
        scale="cell", target_mn=133_447, uncertainty={"expanded_mn": 890}, scale_class="1", points=(), by="A. Person",
        weights="set 2", latitude=None, check_hash="",
    )  # fmt: skip
    checks = [Told(3, "2026-02-11T08:00:00.000000Z", check), Told(9, "2026-03-04T08:00:00.000000Z", check)]
    opened = dataclasses.replace(OPENED, measuring={"cell": "LC-0092"})
    silent, traces = filed((opened, ()))

    def told_of(sheet: JobSheet, many: int) -> str:
        page = read(report(sheet, traces.__getitem__, checks=checks[:many]), tmp_path, "-f", "1", "-l", "1")
        (line,) = [line for line in page.splitlines() if "scale check" in line]
        return line.partition("scale check")[2].strip()

    assert told_of(silent, 0) == "not recorded"
    assert told_of(silent, 1) == "see entry 3"
    assert told_of(silent, 2) == "see entries 3 and 9"
    assert told_of(filed((OPENED, ()))[0], 2) == "U 0.2 lbf, 2026-02-11"
