from __future__ import annotations

import dataclasses
from typing import Any

from station.records.chain import FIRST_PREV, seal
from station.records.entries import (
    Adjusted,
    Amended,
    Checked,
    DailyChecked,
    Entry,
    HoldByHand,
    LineCompared,
    Overridden,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    ScaleChecked,
    SignedOff,
    SteppedBack,
    Tacked,
    TrapMade,
    body_of,
)
from station.records.job_sheet import JobSheet, checks_in_force, went_as_asked
from station.records.report import report
from station.records.rows import Row
from tests.station.records.made_up import made_up
from tests.station.records.sample_job import HELD, JOB, TOO_SHORT, completed, hold, pulled, story


def rows_of(*told: Entry) -> list[Row]:
    """Give the rows of an archive with these entries."""
    rows: list[Row] = []
    for seq, entry in enumerate(told, 1):
        facts = body_of(entry)
        prev = rows[-1].hash if rows else FIRST_PREV
        link = seal(prev, "Bench 1", seq, f"2026-03-04T05:06:{seq:02d}.000000Z", facts)
        rows.append(Row("Bench 1", seq, entry.job, facts["kind"], link.hash, link.body))
    return rows


def sheet_of(*told: Entry) -> JobSheet:
    """Give the sheet of a job with these entries."""
    return JobSheet.of(JOB, rows_of(*told))


def compared(line: str, difference_um: int, after_sewing: bool) -> LineCompared:
    """Give a comparison."""
    return LineCompared(
        job=JOB,
        line=line,
        method="in turn",
        difference_um=difference_um,
        reference_pull_mn=44_482,
        line_pull_mn=44_482,
        after_sewing=after_sewing,
    )


def test_a_whole_job_is_told_piece_by_piece_and_line_by_line() -> None:
    """The sample job comes out with its pieces' holds, its lines' last comparisons, tacks, checks and inspection."""
    results = sheet_of(*(entry for entry, _ in story())).results()
    assert [label for label, _ in results] == [
        "piece 12, line A",
        "piece 13, line B",
        "line A",
        "line B",
        "tacks",
        "checks",
        "inspection",
    ]
    told = dict(results)
    assert told["piece 12, line A"].startswith("pre-stretch held; 30.0 s between")
    assert told["piece 12, line A"].endswith("before it, not held: the pull never came into the band (entry 5)")
    assert told["line A"] == "level with its reference, after sewing (in turn, entry 22)"
    assert told["inspection"] == "inspected by Tobin Hask, certificate GG-031: no fault found (entry 29)"


def test_what_is_not_there_is_said_to_be_not_there() -> None:
    """An empty job has no comparison, no tack, no check, no inspection and no signature, and says so."""
    empty = sheet_of()
    assert dict(empty.results()) == {
        "comparison": "none with the reference recorded",
        "tacks": "none recorded",
        "checks": "none recorded",
        "inspection": "none by a second person recorded",
    }
    assert (empty.opened, empty.signed_off, empty.span, empty.last_seq) == (None, None, ("", ""), 0)
    assert empty.holds_in_words() == "none judged"


def results_of(*told: Entry) -> dict[str, str]:
    """Give what came out of a job with these entries."""
    return dict(sheet_of(*told).results())


def test_a_piece_that_was_cut_and_never_pulled_says_so() -> None:
    """No hold is no pre-stretch."""
    cut = PieceCut(job=JOB, line="A", piece="12", length_um=1)
    assert results_of(cut)["piece 12, line A"] == "no pre-stretch recorded"


def test_a_piece_pulled_by_hand_says_just_that() -> None:
    """A pull by hand is said in the words it was recorded in, with who pulled."""
    by_hand = HoldByHand(job=JOB, pieces=("12",), by="Ansa Velling")
    assert results_of(by_hand)["piece 12"] == "pulled by hand, not measured, by Ansa Velling (entry 1)"


def test_a_hold_that_was_complete_and_never_judged_is_no_held_one() -> None:
    """Where the program was stopped between time complete and verdict, the piece has no verdict."""
    trace = pulled(2, *HELD)
    judged = hold(("12",), trace, "A: pre-stretch")
    waiting, _ = completed(judged, trace)
    never = "1 hold whose time was complete and whose verdict was never recorded"
    assert results_of(waiting)["piece 12"] == never
    assert never not in results_of(waiting, judged)["piece 12"]
    assert never in results_of(waiting, waiting, judged)["piece 12"]


def test_the_last_hold_of_a_piece_is_told_first_and_the_earlier_ones_after_it() -> None:
    """A piece that was held and then pulled again without holding is not told as held."""
    good = hold(("12", "13"), pulled(2, *HELD), "A: pre-stretch")
    bad = hold(("12",), pulled(1, *TOO_SHORT), "A: pre-stretch")
    told = results_of(good, bad)
    assert told["piece 12"].startswith("pre-stretch not held")
    assert "before it, held (entry 1)" in told["piece 12"]
    assert told["piece 13"].startswith("pre-stretch held")


def test_the_pre_stretch_is_said_by_pieces_and_never_better_than_it_is() -> None:
    """Each piece in the work stands by its last hold, whatever is not held by its number; other tries follow."""

    def said(*told: Entry) -> str:
        return sheet_of(*told).holds_in_words()

    cut = [PieceCut(job=JOB, line="A", piece=each, length_um=1) for each in ("12", "13", "14", "15", "16")]
    both, good = (hold(pieces, pulled(2, *HELD), "A: pre-stretch") for pieces in (("12", "13"), ("12",)))
    bad = hold(("12",), pulled(1, *TOO_SHORT), "A: pre-stretch")
    scrap = PieceScrapped(job=JOB, piece="12", by="Ansa Velling", reason="made anew")
    over = PieceOverpulled(job=JOB, pieces=("13",), pull_mn=300_000, ceiling_mn=266_893)
    waiting, _ = completed(good, pulled(2, *HELD))
    assert said(good) == "the piece held"
    assert said(bad, good) == "the piece held, 1 earlier try not held"
    assert said(bad, bad, both) == "both pieces held, 2 earlier tries not held"
    assert said(both, bad) == "1 of 2 pieces held, piece 12 not held"
    assert said(bad) == "piece 12 not held"
    assert said(both, over) == "1 of 2 pieces held, piece 13 pulled over the ceiling"
    assert said(both, waiting) == "1 of 2 pieces held, piece 12 without a recorded verdict"
    assert said(*cut[:3], both) == "2 of 3 pieces held, piece 14 not pre-stretched"
    assert said(*cut, good) == "1 of 5 pieces held, 4 pieces not pre-stretched"
    assert said(bad, scrap, hold(("14",), pulled(2, *HELD), "A: pre-stretch")) == "the piece held, 1 other try not held"
    assert said(bad, scrap) == "1 other try not held"
    assert said(HoldByHand(job=JOB, pieces=("12",), by="Ansa Velling")) == "none judged, pulled by hand, not measured"


def test_releases_scrappings_overrides_and_amendments_stand_in_the_result() -> None:
    """What a named person answered for is not hidden among the entries."""
    told = results_of(
        PieceScrapped(job=JOB, piece="12", by="Ansa Velling", reason="over the ceiling"),
        PieceReleased(job=JOB, piece="13", by="Tobin Hask", reason="cell was shocked, line was not"),
        Overridden(job=JOB, step="A: pre-stretch", by="Tobin Hask", reason="cell in repair"),
        Amended(job=JOB, seq=1, text="piece 14", reason="misread", by="Ansa Velling"),
    )
    assert told["piece 12"] == "SCRAPPED by Ansa Velling (entry 1)"
    assert told["piece 13"] == "released for use by Tobin Hask (entry 2)"
    assert told["passed without"].endswith("(entry 3)")
    assert told["put right"].endswith("(entry 4)")


def test_a_reference_not_sound_an_overpull_and_a_difference_left_stand_in_the_result() -> None:
    """A reference found bad, a piece pulled too high and a difference left are told with what came out."""
    looked = {"job": JOB, "step": "reference"}
    out = ReferenceChecked(
        **looked, reference="opposite number", sound=False, finding="frayed", by="T. Hask", instead="chart"
    )
    results = sheet_of(
        out,
        ReferenceChecked(**looked, reference="chart", sound=True, finding="asked"),
        PieceOverpulled(job=JOB, pieces=("13", "12"), pull_mn=270_000, ceiling_mn=266_893),
        Adjusted(
            job=JOB,
            step="A",
            line="A",
            action="leave",
            move_um=0,
            trap_after_um=127_000,
            by="Tobin Hask",
            reason="tired",
        ),
        Adjusted(
            job=JOB, step="B", line="B", action="leave", move_um=0, trap_after_um=127_000, by="Tobin Hask", reason="-"
        ),
        SteppedBack(job=JOB, step="B"),
    ).results()
    assert [words for label, words in results if label == "reference"] == [
        "reference (opposite number) looked at by T. Hask: NOT SOUND; frayed; matched to the chart instead (entry 1)",
        "reference (chart) looked at: sound; asked (entry 2)",
    ]
    assert [went_as_asked(*each) for each in results][:2] == [False, True]
    told = dict(results)
    over = "pulled to 60.7 lbf (270.0 N), over the ceiling of 60.0 lbf (266.9 N), outside a judged hold (entry 3)"
    assert told["piece 13"] == told["piece 12"] == over
    assert [words for label, words in results if label == "left"] == [
        "A left as it is, by Tobin Hask: tired; 5 in (127.0 mm) lies trapped (entry 4)"
    ]


def test_a_line_compared_only_before_sewing_says_so() -> None:
    """A tack draws a line up, so a comparison from before it is told as what it is."""
    assert results_of(compared("A", 0, False))["line A"] == (
        "level with its reference, before sewing; none after it recorded (in turn, entry 1)"
    )
    assert results_of(compared("A", 4_763, False), compared("A", 1_588, True))["line A"] == (
        "1/16 in (1.6 mm) long, after sewing (in turn, entry 2)"
    )


def test_what_was_gone_back_on_is_known_and_stands() -> None:
    """Entries of a step the rigger went back on are marked; those made again, and those of other steps, are not."""
    trap = TrapMade(job=JOB, step="A: trap", trap="A link end", host="A", guest="A", trap_um=1)
    other = Checked(job=JOB, step="checks", check="no twist")
    sheet = sheet_of(trap, other, SteppedBack(job=JOB, step="A: trap"), trap, SteppedBack(job=JOB, step=""))
    assert sheet.gone_back_on() == {1}
    assert len(sheet.told) == 5


def test_what_was_gone_back_on_is_not_counted_as_done() -> None:
    """Tacks, checks and comparisons that were gone back on are not told as made; those made again are, once."""
    tack = Tacked(job=JOB, step="A: sew", trap="A", tack="bar-tack", length_um=25_400, stitches=42)
    check = Checked(job=JOB, step="check: no twist", check="no twist")
    level = dataclasses.replace(compared("A", 0, False), step="A: compare 1")
    done = (tack, check, level)
    back = tuple(SteppedBack(job=JOB, step=each.step) for each in reversed(done))
    undone = results_of(*done, *back)
    assert undone["tacks"] == undone["checks"] == "none recorded"
    assert undone["comparison"] == "none with the reference recorded"
    again = results_of(*done, *back, *done)
    assert again["tacks"] == "1 tack sewn, no trial tacks on scrap"
    assert again["checks"] == "1 check made and found good"


def test_a_leg_is_told_as_one() -> None:
    """A leg has no hold of its own, and the result says that pre-stretched stock was asked for; a line says no such."""
    leg = PieceCut(job=JOB, line="A brake loop leg", piece="14", length_um=1)
    trapped = TrapMade(
        job=JOB, step="A", trap="A brake loop below", host="A", guest="A brake loop leg, piece 14,", trap_um=1
    )
    told = results_of(PieceCut(job=JOB, line="A", piece="12", length_um=1), leg, trapped)
    assert told["piece 14, line A brake loop leg"] == "asked for of pre-stretched stock, as a leg; no hold of its own"
    assert told["piece 12, line A"] == "no pre-stretch recorded"
    assert results_of(leg)["piece 14, line A brake loop leg"] == "no pre-stretch recorded"


def test_a_damaged_entry_is_told_and_the_rest_is_read() -> None:
    """One unreadable entry does not hide the others."""
    whole = [Checked(job=JOB, check="no twist"), SignedOff(job=JOB, by="Ansa Velling", certificate="", statement="")]
    rows: list[Any] = []
    for seq, entry in enumerate(whole, 1):
        facts = body_of(entry)
        link = seal(rows[-1].hash if rows else FIRST_PREV, "Bench 1", seq, "2026-03-04T05:06:07.000000Z", facts)
        rows.append(Row("Bench 1", seq, JOB, facts["kind"], link.hash, link.body))
    for body in (
        b"\xff",
        b"{}",
        b"[1]",
        rows[0].body.replace(b'"check":', b'"chalk":'),
        b'{"entry":{"a":1.5}}',
        b'{"entry":{"a":"\\ud800"}}',
    ):
        sheet = JobSheet.of(JOB, [Row("Bench 1", 1, JOB, "checked", rows[0].hash, body), rows[1]])
        assert [seq for seq, _ in sheet.unreadable] == [1]
        assert sheet.signed_off is not None
        assert dict(sheet.results())["entry 1"].startswith("damaged: it")


def scale_check(scale: str, kind: type[Entry]) -> Entry:
    """Give a check of a scale."""
    return dataclasses.replace(made_up(kind), job="", step="", scale=scale)  # type: ignore[call-arg]  # both kinds have it


def test_the_checks_in_force_are_the_last_before_the_last_hold_of_its_scale() -> None:
    """Of the scale held on, the last full and the last daily check count; later ones and other scales' do not."""
    held = hold(("12",), pulled(2, *HELD), "A: pre-stretch")
    mine, other = held.scale, "another scale"
    told = [
        scale_check(mine, ScaleChecked),
        scale_check(mine, ScaleChecked),
        scale_check(other, ScaleChecked),
        scale_check(mine, DailyChecked),
        held,
        scale_check(mine, DailyChecked),
    ]
    rows = rows_of(*told)
    sheet = JobSheet.of(JOB, [row for row in rows if row.job == JOB])
    assert [each.seq for each in checks_in_force(sheet, rows)] == [2, 4]
    assert checks_in_force(JobSheet.of(JOB, []), rows) == []
    assert b"%PDF-" in report(sheet, {held.trace: pulled(2, *HELD)}.__getitem__, checks=checks_in_force(sheet, rows))
