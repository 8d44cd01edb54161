from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import pytest

from drivers.events import Garbage, PedalEdge, PedalLost, PedalUp, Reading, Tick
from station.bench.bench import READ_FIRST, READ_US
from station.bench.commands import FormFault, carry_out, offered
from station.bench.hearing import LARGE_US
from station.bench.hold_watch import HoldWatch
from station.bench.job import CHECKS, fold
from station.bench.snapshot import LengthNumber, Words
from station.learned import stock_of
from station.measuring.hold import HoldSpecification, ScaleUncertainty, judge
from station.measuring.live_hold import Closed
from station.records.entries import (
    Adjusted,
    HoldByHand,
    HoldCompleted,
    HoldJudged,
    LineCompared,
    MarkMade,
    Overridden,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    SignedOff,
    SteppedBack,
    Tacked,
    TrapMade,
)
from station.units import stacked_length

sys.path.insert(0, str(Path(__file__).parent))
from workbench import MAIN, PLAN, Workbench


def last_hold(desk: Workbench) -> HoldJudged:
    """Give the last hold that was judged."""
    return next(entry for entry in reversed(desk.entries) if isinstance(entry, HoldJudged))


def test_a_whole_job_is_done_by_foot_but_for_the_signature() -> None:
    """Every step but the signing is done by pulls and taps alone, and each leaves its fact."""
    desk = Workbench()
    desk.work_to("sign")
    desk.do_step()
    assert desk.bench.state.now is None
    kinds = [type(entry).__name__ for entry in desk.entries]
    assert kinds.count("HoldJudged") == 2
    assert kinds.count("TrapMade") == 4
    assert kinds.count("Tacked") == 5
    assert kinds.count("LineCompared") == 4
    assert kinds.count("Checked") == 13
    assert isinstance(desk.entries[-1], SignedOff)
    assert desk.seen().sentence.text == "Signed off. The record is filed."


def test_a_job_goes_on_from_its_entries_alone() -> None:
    """At every moment of a job, the fold of what was filed stands where the bench stands."""
    desk = Workbench()
    for _ in range(60):
        assert fold(enumerate(desk.entries, 1)).steps == desk.bench.state.steps
        assert desk.folded().index == desk.bench.state.index
        if desk.bench.state.now is None:
            break
        desk.do_step()
    assert desk.bench.state.now is None


def test_a_held_hold_is_recorded_before_it_is_shown_and_moves_on_when_eased_off() -> None:
    """The verdict is filed at completion; the next step comes only once the line is slack."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 31.0)
    assert last_hold(desk).judgement["verdict"] == "held"
    assert last_hold(desk).pieces == ("12",)
    assert desk.step == "A: pre-stretch"
    assert desk.seen().sentence.text == "Time complete: ease off to finish"
    desk.pull(0.0, 1.0)
    assert desk.step == "A: route"
    assert desk.seen().sentence.text.startswith("Put A on its link")


def test_the_recorded_trace_judges_to_the_recorded_verdict() -> None:
    """Judging the stored readings again gives every figure of the record."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold()
    entry = last_hold(desk)
    again = judge(
        desk.traces[entry.trace],
        HoldSpecification.of_facts(entry.specification),
        ScaleUncertainty.of_facts(entry.uncertainty or {}),
        entry.response_us,
    )
    assert again.facts() == entry.judgement


def test_pulled_too_light_is_not_held_and_says_what_the_trace_says() -> None:
    """22 lbf for 20 s is not held; the sentence asks for another pull, and the record keeps the first."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold(22.0, 20.0)
    entry = last_hold(desk)
    assert (entry.judgement["verdict"], list(entry.judgement["reasons"])) == ("not-held", ["never-in-band"])
    assert desk.seen().sentence.text == "Not held. Pull to 30 pounds again"
    assert desk.step == "A: pre-stretch"
    desk.hold()
    assert desk.step == "A: route"


def test_taps_do_nothing_during_a_hold() -> None:
    """A tap during a hold is not counted and said so; a long press neither; the hold goes on."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 5.0)
    filed = len(desk.entries)
    desk.bench.tap(desk.at_us)
    assert "Not counted" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.bench.long_press(desk.at_us)
    assert "ease off to stop" in desk.bench.notice.text  # type: ignore[union-attr]
    assert len(desk.entries) == filed
    desk.pull(31.0, 26.0)
    assert last_hold(desk).judgement["verdict"] == "held"


def test_unplugging_in_mid_hold_ends_the_span_and_a_later_full_one_is_held() -> None:
    """A lost link breaks the span, is said on the screen and in the record, and voids nothing by itself."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 20.0)
    desk.unplug()
    desk.wait(2.0)
    seen = desk.seen()
    assert seen.sentence.text == "No reading: plug it in again"
    assert "unplugged" in seen.notice.text  # type: ignore[union-attr]
    assert seen.number.text == "--"  # type: ignore[union-attr]
    desk.replug()
    desk.pull(31.0, 20.0)
    assert desk.step == "A: pre-stretch"
    desk.pull(31.0, 11.0)
    entry = last_hold(desk)
    assert entry.judgement["verdict"] == "held"
    assert entry.links_lost == ("the cable to the scale is unplugged",)


def test_a_lost_pedal_is_not_a_lost_scale() -> None:
    """The pedal's cable breaks no hold; a press under way when it went never counts, and the screen says so."""
    desk = Workbench()
    desk.work_to("A: cut")
    desk.wait(0.5)
    desk.bench.take([PedalEdge(desk.at_us, True), PedalLost(desk.at_us + 1, "the pedal is gone", "plug it in again")])
    assert desk.seen().header.foot.text == "no pedal"
    assert "the pedal is gone" in desk.seen().notice.text  # type: ignore[union-attr]
    desk.bench.take([PedalUp(desk.at_us + 2, "x"), PedalEdge(desk.at_us + 3, False)])
    desk.wait(0.5)
    assert desk.step == "A: cut"
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 15.0)
    desk.bench.take([PedalLost(desk.at_us, "the pedal is gone", "plug it in again")])
    desk.pull(31.0, 16.0)
    assert last_hold(desk).judgement["verdict"] == "held"
    assert last_hold(desk).links_lost == ()


def test_a_scale_that_sends_and_is_never_read_is_said() -> None:
    """Where nothing but garbage has come for two seconds, what came and what to look at is said; a reading ends it."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    begun_us = desk.at_us
    why = r"found '\xf8\x9e' where {value} was expected"
    for number in range(25):
        desk.bench.take([Garbage(begun_us + 100_000 * number, b"\xf8\x9e", why)])
    notice = desk.seen().notice
    assert notice is not None
    assert notice.text == (
        rf"nothing that comes from the scale can be read: {why}, in '\xf8\x9e': check its speed (baud) and its "
        "description; fidbench listen shows what it sends, or answers (--ask)"
    )
    desk.at_us = begun_us + 2_500_000
    desk.pull(0.0, 0.2)
    assert desk.seen().notice.text == "The scale is read again."  # type: ignore[union-attr]


def test_a_pedal_that_is_down_from_the_start_is_said_to_be_stuck() -> None:
    """A pedal down since its port opened is said to be stuck, in the top line for as long as it is; it does nothing."""
    desk = Workbench()
    desk.work_to("A: cut")
    desk.bench.take([PedalUp(desk.at_us, "x", down=True)])
    desk.wait(9.0)
    assert desk.seen().header.foot.text == "foot ready"
    desk.wait(2.0)
    assert desk.seen().header.foot.text == "foot stuck down"
    assert "its switch opens where it should close" in desk.seen().notice.text  # type: ignore[union-attr]
    desk.bench.take([PedalEdge(desk.at_us, False)])
    assert desk.seen().header.foot.text == "foot ready"
    assert desk.seen().notice.text == "The pedal is free again."  # type: ignore[union-attr]
    assert desk.step == "A: cut"


def test_a_zero_limit_waits_for_zero_and_completion_is_recorded_at_once() -> None:
    """With a zero limit the completion is filed when it happens, and the verdict at the first zero after it."""
    spec = HoldSpecification("zero", 133_447, 124_550, 200_170, 266_893, 30_000_000, zero_limit_mn=2_000)
    desk = Workbench(spec)
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 31.0)
    assert isinstance(desk.entries[-1], HoldCompleted)
    assert desk.seen().sentence.text == "Time complete: ease off to finish"
    desk.pull(0.0, 1.0)
    assert last_hold(desk).judgement["verdict"] == "held"
    assert desk.step == "A: route"


@pytest.mark.parametrize("command", ["scrap", "release"])
def test_over_the_ceiling_stops_the_piece_until_somebody_answers_for_it(command: str) -> None:
    """After a pull over the ceiling the piece is scrapped, and cut anew, or released by name and pulled again."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold(61.0, 2.0)
    assert list(last_hold(desk).judgement["reasons"]) == ["over-ceiling"]
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 12")
    assert desk.seen().commands == ("scrap", "release")
    carry_out(desk.bench, command, {"by": "A. Person", "reason": "seen"})  # type: ignore[arg-type]  # both are commands
    assert desk.step == ("A: cut" if command == "scrap" else "A: pre-stretch")
    desk.work_to("A: route")
    assert desk.bench.state.pieces["A"] == ("13" if command == "scrap" else "12")


def test_a_scrapped_piece_takes_its_steps_with_it() -> None:
    """Scrapping the branch's piece sends the job back to cutting the branch, not the main line."""
    desk = Workbench()
    desk.work_to("B: pre-stretch")
    desk.hold(61.0, 2.0)
    carry_out(desk.bench, "scrap", {"by": "A. Person", "reason": "over the ceiling"})
    assert desk.step == "B: cut"
    assert isinstance(desk.entries[-1], PieceScrapped)
    assert desk.bench.state.pieces == {"A": "12"}


def test_a_step_that_needs_a_hold_is_passed_only_by_name_and_reason() -> None:
    """No tap passes a pre-stretch; an override does, and the record shows who and why."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.press()
    assert desk.step == "A: pre-stretch"
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "held on another bench"})
    assert desk.step == "A: route"
    assert desk.entries[-1] == Overridden(
        job="26-0001", step="A: pre-stretch", by="A. Person", reason="held on another bench"
    )


def test_a_reference_that_is_not_sound_is_said_by_name_and_another_is_looked_at() -> None:
    """A tap says sound, by nobody in particular; not sound takes a name, what was found, and what to match instead."""
    desk = Workbench()
    desk.work_to("reference")
    assert desk.seen().sentence.text == "Is the opposite number sound?"
    said = {"by": "A. Person", "finding": "3/4 in off the maker's chart", "instead": "chart"}
    for missing in said:
        with pytest.raises(FormFault, match=missing):
            carry_out(desk.bench, "not sound", said | {missing: " "})
    with pytest.raises(FormFault, match="instead: found 'my own', expected one of: opposite number, adjacent line"):
        carry_out(desk.bench, "not sound", said | {"instead": "my own"})
    carry_out(desk.bench, "not sound", said)
    found = desk.entries[-1]
    assert isinstance(found, ReferenceChecked)
    assert (found.reference, found.sound, found.by, found.instead) == ("opposite number", False, "A. Person", "chart")
    assert desk.step == "reference"
    assert desk.seen().sentence.text == "Is this the maker's chart?"
    desk.press()
    found = desk.entries[-1]
    assert isinstance(found, ReferenceChecked)
    assert (found.reference, found.sound, found.by, found.instead) == ("chart", True, "", "")
    assert desk.step == "A: cut"
    assert fold(enumerate(desk.entries, 1)).reference == "chart"
    assert "not sound" not in offered(desk.bench)


def test_without_instruments_the_job_works_and_says_not_measured() -> None:
    """Without a scale a hold is entered as pulled by hand, and marks and comparisons carry no pull."""
    desk = Workbench(measured=False)
    desk.work_to("A: pre-stretch")
    assert "not measured" in desk.seen().under
    carry_out(desk.bench, "by hand", {"by": "A. Person"})
    assert isinstance(desk.entries[-1], HoldByHand)
    desk.wait(0.1)
    for _ in range(80):
        if desk.bench.state.now is None:
            break
        if desk.bench.state.now.kind == "pre-stretch":
            carry_out(desk.bench, "by hand", {"by": "A. Person"})
        else:
            desk.do_step()
    assert desk.bench.state.now is None
    assert all(entry.pull_mn is None for entry in desk.entries if isinstance(entry, MarkMade))
    assert all("not measured" in entry.method for entry in desk.entries if isinstance(entry, LineCompared))


def test_marking_counts_only_under_the_marking_pull() -> None:
    """A mark tapped without the pull is not counted, and the pull it was made under is recorded."""
    desk = Workbench()
    desk.work_to("B into A: mark")
    desk.pull(2.0, 1.0)
    desk.press()
    assert desk.step == "B into A: mark"
    assert "Not counted: the marking pull is not there yet" in desk.bench.notice.text  # type: ignore[union-attr]
    assert desk.seen().sentence.text == "Not counted: the marking pull is not there yet."
    desk.pull(10.2, 1.0)  # which mends it: what is asked stands there again at once
    seen = desk.seen()
    assert seen.sentence.text == "Mark where B enters A"
    assert seen.number.stacked[:3] == (0, 5, 16)  # type: ignore[union-attr]
    assert seen.arrow == "canopy"
    desk.press()
    mark = next(entry for entry in desk.entries if isinstance(entry, MarkMade))
    assert (mark.line, mark.offset_um, round((mark.pull_mn or 0) / 4448.22, 1)) == ("A", 7938, 10.2)


def test_no_check_is_asked_for_of_what_is_not_there() -> None:
    """A line without a cascade or a knot has neither on its list, so that the record never says they were seen."""
    alone = Workbench(plan=PLAN.partition('[[line]]\nname = "B"')[0])
    checks = [step.check for step in alone.bench.state.steps if step.kind == "check"]
    assert not {"knot dressed", "cascade and its tack"} & set(checks)
    assert checks == [check for check in CHECKS if check not in {"knot dressed", "cascade and its tack"}]
    both = [step.check for step in Workbench().bench.state.steps if step.kind == "check"]
    assert both == list(CHECKS)


def find_long(desk: Workbench, sixteenths: int, long: bool) -> None:
    """Compare by foot and find the new line long or short by so many sixteenths."""
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(10.2, 1.0)
    desk.press(1.3)
    desk.press(1.3 if long else 0.2)
    for _ in range(sixteenths):
        desk.press()
    desk.wait(3.2)
    assert "?" in desk.seen().sentence.text
    desk.press()


def test_a_line_3_16_long_is_taken_in_by_the_computed_amount() -> None:
    """3/16 in long is entered by taps; what to take in follows, and what is trapped after it is recorded."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 3, long=True)
    assert desk.step == "B: adjust 1"
    seen = desk.seen()
    assert seen.sentence.text == "New line 3/16 in long: take in"
    assert seen.arrow == "link"
    assert seen.under.startswith("5 3/16 in will be trapped")
    desk.wait(0.5)
    desk.press()
    moved = desk.entries[-1]
    assert isinstance(moved, Adjusted)
    assert moved.move_um == round(3 / 16 * 25_400 / 1.0625)
    assert desk.step == "B: compare 2"


def test_a_line_found_short_is_let_out_and_a_second_adjustment_starts_from_the_first() -> None:
    """What lies trapped is carried from adjustment to adjustment."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 2, long=False)
    desk.press()
    first = desk.entries[-1]
    assert isinstance(first, Adjusted)
    assert first.action == "let-out"
    find_long(desk, 1, long=True)
    desk.press()
    second = desk.entries[-1]
    assert isinstance(second, Adjusted)
    assert second.trap_after_um == first.trap_after_um + second.move_um


def test_a_difference_may_be_left() -> None:
    """A difference found may be left by keyboard, and no further comparison is asked for."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    find_long(desk, 1, long=True)
    carry_out(desk.bench, "accept", {"by": "A. Person", "reason": "within reach of the maker's tolerance"})
    assert desk.entries[-1].action == "leave"  # type: ignore[attr-defined]
    assert desk.step == "A canopy end: mark"


def test_a_typed_difference_counts_like_a_tapped_one() -> None:
    """The difference may be typed as a length with its sign."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(10.2, 1.0)
    carry_out(desk.bench, "long?", {"difference": "-1/8 in"})
    assert desk.entries[-1].difference_um == -3175  # type: ignore[attr-defined]


def test_the_second_pull_must_equal_the_first() -> None:
    """Level is not taken while the new line's pull differs by more than the plan allows."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(9.5, 1.0)
    desk.press()
    assert desk.bench.comparing is not None
    desk.bench.comparing.equal_mn = 2_000
    desk.pull(0.0, 0.5)
    desk.pull(10.1, 1.0)
    desk.press()
    assert desk.step == "B: compare 1"
    assert "the pull is not the same" in desk.bench.notice.text  # type: ignore[union-attr]


def test_where_there_is_no_foot_none_is_asked_to_be_armed() -> None:
    """Without a pedal a sewing step asks for the space bar, which counts at once."""
    desk = Workbench()
    desk.work_to("trial tack")
    desk.bench.settings = dataclasses.replace(desk.bench.settings, pedal=False)
    assert desk.seen().second[-1].text == "then press the space bar"
    desk.wait(1.0)
    carry_out(desk.bench, "done")
    assert desk.step != "trial tack"


def test_a_bounce_of_the_foot_answers_one_question() -> None:
    """A second tap within a second of what it would answer is not counted; the first one is."""
    desk = Workbench()
    desk.wait(2.0)
    desk.press(0.15, reads=False)
    desk.press(0.15, reads=False)
    assert desk.step == "reference"
    assert desk.seen().sentence.text == "Too soon. Is the opposite number sound?"
    assert desk.seen().notice == Words(f"Not counted: {READ_FIRST}.", "warn")
    desk.wait(1.0)
    desk.press(0.15, reads=False)
    assert desk.step == "A: cut"


@pytest.mark.parametrize(("shown_us", "counts"), [(READ_US - 1, False), (READ_US, True)])
def test_a_tap_counts_once_what_it_answers_has_been_shown_for_a_second(shown_us: int, counts: bool) -> None:
    """The limit is one of stamps: a tap at a second counts, by foot or key, and one a microsecond before does not."""
    desk = Workbench()
    desk.bench.take([Tick(READ_US)])
    desk.bench.tap(READ_US)
    desk.bench.take([Tick(READ_US + shown_us)])
    carry_out(desk.bench, "done")
    assert (desk.step == "A: cut") is counts


def test_why_a_tap_did_not_count_is_the_sentence_for_four_seconds() -> None:
    """What did not count is said where it is read from afar, then what is asked stands there again."""
    desk = Workbench()
    desk.work_to("B into A: mark")
    asked = desk.seen().sentence
    desk.unplug()
    desk.wait(1.5)
    desk.press()
    assert desk.seen().sentence == Words("Not counted: there is no reading from the scale.", "warn")
    desk.wait(LARGE_US / 1e6)
    assert desk.seen().sentence == asked
    assert "Not counted" in str(desk.seen().notice)  # which stays a while longer
    desk.press()
    desk.pull(10.2, 0.5)
    desk.press()
    assert desk.seen().sentence.text.startswith("Cut braid for B")  # what counts is no longer called refused


def test_during_a_pull_the_sentence_is_the_holds() -> None:
    """A tap in a hold is answered below: the sentence goes on to say what keeps the hold."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 5.0)
    desk.press()
    assert desk.seen().sentence.text.startswith("Pre-stretch, ")
    assert "Not counted" in str(desk.seen().notice)


def test_single_taps_are_ignored_in_a_sewing_step() -> None:
    """The sewing machine's own foot control does not move the job on: only two taps two seconds apart arm it."""
    desk = Workbench()
    desk.work_to("A: tack link loop")
    for _ in range(6):
        desk.press()
        desk.wait(0.2)
    assert desk.step == "A: tack link loop"
    desk.wait(5.0)
    desk.press()
    desk.wait(2.0)
    desk.press()
    desk.press()
    assert desk.step == "A: pre-stretch"
    assert isinstance(desk.entries[-1], Tacked)


def test_no_run_of_taps_passes_the_list_of_checks() -> None:
    """Each check counts only once it has been shown for two seconds."""
    desk = Workbench()
    desk.work_to("check: attachment and its tack")
    for _ in range(20):
        desk.press(0.1, reads=False)
    assert desk.bench.state.index <= desk.bench.state.steps.index(
        next(step for step in desk.bench.state.steps if step.key == "check: link loop and its tack")
    )
    desk.press(0.1, reads=False)
    assert any("look first" in str(desk.bench.notice) for _ in [0])


def test_a_long_press_goes_back_and_erases_nothing() -> None:
    """Going back files a fact that names the step; what was recorded for it stands."""
    desk = Workbench()
    desk.work_to("A: tack link loop")
    before = list(desk.entries)
    desk.press(1.3)
    assert desk.step == "A: link loop"
    assert desk.entries == [*before, SteppedBack(job="26-0001", step="A: link loop")]
    desk.wait(2.2)
    desk.press()
    assert desk.step == "A: tack link loop"
    assert sum(isinstance(entry, TrapMade) for entry in desk.entries) == 2


def test_signing_and_inspection_are_never_by_foot() -> None:
    """A reserve asks for a second person; neither that nor the signature is taken from the foot."""
    desk = Workbench(kind="reserve")
    desk.work_to("second person")
    desk.press()
    assert desk.step == "second person"
    desk.do_step()
    desk.press()
    assert desk.step == "sign"
    desk.do_step()
    assert desk.bench.state.now is None


def test_a_failed_write_stops_the_work_and_says_so() -> None:
    """When a fact cannot be filed it does not count, and nothing more is taken."""
    desk = Workbench()
    desk.work_to("A: cut")
    desk.disk_full = True
    desk.wait(2.2)
    desk.press()
    assert desk.step == "A: cut"
    seen = desk.seen()
    assert seen.notice is None
    assert seen.sentence.text == "Stop: nothing more can be recorded"
    assert "disk is full" in seen.second[0].text
    assert seen.under.startswith("What was done last is not recorded; all before it is safe.")
    desk.disk_full = False
    desk.press()
    assert desk.step == "A: cut"


def test_a_hold_that_cannot_be_filed_sounds_like_none() -> None:
    """Where the disk is full at the end of a hold, no tone says that it is complete or done, and the stop stands."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.disk_full = True
    desk.cues.clear()
    desk.pull(31.0, 31.0)
    desk.pull(0.0, 1.5)
    desk.hold()
    assert "broken" in desk.cues
    assert not {"time complete", "step done", "not counted"} & set(desk.cues)
    assert desk.step == "A: pre-stretch"
    seen = desk.seen()
    assert seen.sentence.text == "Stop: nothing more can be recorded"
    assert "disk is full" in seen.second[0].text


MAIN_SHORT = dataclasses.replace(MAIN, duration_us=2_000_000)


def test_a_failing_program_voids_the_hold_under_way() -> None:
    """A fault of the program while a hold runs is recorded as a void hold, and the bench goes on."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 10.0)
    desk.bench.fail(ValueError("broken picture"))
    entry = last_hold(desk)
    assert (entry.judgement["verdict"], entry.program_fault) == ("void", True)
    for moment in range(2):
        seen = desk.seen()
        told = [seen.sentence.text, *(words.text for words in seen.second), seen.notice.text if seen.notice else ""]
        assert sum("program failed" in words for words in told) == 1, told
        assert "again" in seen.sentence.text
        desk.pull(0.0, 1.5)
        assert seen.recorded == "pre-stretch void, piece 12", moment
    desk.hold()
    assert last_hold(desk).judgement["verdict"] == "held"


def test_a_failing_program_between_holds_is_told_once() -> None:
    """Where no hold runs, a fault of the program says that what was recorded is safe, and the step goes on."""
    desk = Workbench()
    desk.work_to("A: link loop")
    desk.bench.fail(ValueError("broken picture"))
    seen = desk.seen()
    assert seen.notice is not None
    assert seen.notice.text == "The program failed (ValueError). What was recorded is safe: go on."
    assert "void" not in " ".join([seen.sentence.text, *(words.text for words in seen.second)])
    desk.press()
    assert desk.step == "A: tack link loop"


def test_whatever_was_filed_last_is_said() -> None:
    """Through a whole job the line that says what was recorded is never empty once something was."""
    desk = Workbench(MAIN_SHORT, kind="reserve")
    while desk.step:
        before = desk.step
        desk.do_step()
        assert desk.seen().recorded, before


def test_a_blocked_piece_is_held_by_no_pull() -> None:
    """After a pull over the ceiling another, perfect pull of the same piece files nothing and moves nothing on."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.hold(61.0, 2.0)
    filed = len(desk.entries)
    desk.hold()
    assert len(desk.entries) == filed
    assert desk.step == "A: pre-stretch"
    assert offered(desk.bench) == ("scrap", "release")
    held = last_hold(desk)
    forged = dataclasses.replace(held, judgement={**held.judgement, "verdict": "held", "reasons": []})
    assert desk.bench.state.after(forged, 99).now.key == "A: pre-stretch"  # nor does the fold take one


def test_an_overload_says_ease_off_and_nothing_counts_from_there() -> None:
    """While the scale is over its capacity the sentence is to ease off, and what follows is not counted down."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 2.0)
    desk.pull(0.0, 0.1, status="overload")
    assert desk.seen().sentence.text == "Over capacity: ease off"
    desk.pull(31.0, 5.0)
    seen = desk.seen()
    assert seen.sentence.text == "Over capacity: ease off"
    assert seen.progress.held_s == 0  # type: ignore[union-attr]
    assert seen.notice is None
    assert "time complete" not in desk.cues


def test_a_unit_change_voids_at_once() -> None:
    """A hold in which the scale changed its unit is said to be void when it happens, not at the end."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 2.0)
    desk.pull(137.9, 1.0, unit="N")
    assert desk.seen().sentence.text == "Void: ease off, then pull again"


def test_no_name_passes_a_step_while_the_line_is_pulled() -> None:
    """During a pull nothing is offered, so that no attempt is thrown away: its verdict falls first."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 3.0)
    assert offered(desk.bench) == ()
    carry_out(desk.bench, "by hand", {"by": "A. Person"})
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "none"})
    assert desk.step == "A: pre-stretch"
    assert not any(isinstance(entry, HoldByHand | Overridden) for entry in desk.entries)


def test_what_is_not_offered_is_not_done_and_a_name_is_needed() -> None:
    """An override of a check, a signature before its step and an inspection without a name are refused."""
    desk = Workbench(kind="reserve")
    desk.work_to("check: no twist")
    for command in ("override", "sign", "inspect", "scrap"):
        carry_out(desk.bench, command, {"by": "A. Person", "reason": "none"})  # type: ignore[arg-type]
        assert desk.step == "check: no twist"
    desk.work_to("second person")
    with pytest.raises(FormFault, match="by"):
        carry_out(desk.bench, "inspect", {"by": " ", "finding": "good"})


@pytest.mark.parametrize(("lbf", "status"), [(65.0, None), (0.0, "overload")])
def test_an_overpull_while_comparing_is_filed_and_blocks_the_piece(lbf: float, status: str | None) -> None:
    """Over the ceiling, or over the scale's capacity, in a step that judges no hold: filed once; the piece stops."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(lbf, 0.5, status=status)
    assert isinstance(desk.entries[-1], PieceOverpulled)
    assert desk.entries[-1].pieces == ()  # it was the opposite number's turn
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(lbf, 0.5, status=status)
    assert desk.entries[-1].pieces == ("13", "12")  # the branch, and the main line that carries it down to the link
    assert sum(isinstance(entry, PieceOverpulled) for entry in desk.entries) == 2
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 13")
    desk.pull(10.2, 1.0)
    desk.press()
    assert desk.step == "B: compare 1"
    carry_out(desk.bench, "release", {"by": "A. Person", "reason": "a slip of the winch"})
    assert desk.seen().sentence.text.startswith("Stop: scrap piece 12")
    carry_out(desk.bench, "release", {"by": "A. Person", "reason": "a slip of the winch"})
    desk.pull(10.2, 1.0)
    assert "Stop" not in desk.seen().sentence.text


def test_leaning_on_the_scale_between_steps_is_nobodys_overpull() -> None:
    """In a step in which no piece hangs on the scale, an overload is filed of none."""
    desk = Workbench()
    desk.work_to("check: no twist")
    filed = len(desk.entries)
    desk.pull(0.0, 0.5, status="overload")
    assert len(desk.entries) == filed


def test_a_difference_found_after_sewing_is_not_passed_over() -> None:
    """Outside the tolerance after sewing the line is unpicked, moved, sewn again and compared again."""
    desk = Workbench()
    desk.work_to("B: compare after sewing 1")
    find_long(desk, 9, long=True)
    assert desk.step == "B: adjust after sewing 1"
    assert "unpick, take in" in desk.seen().sentence.text
    desk.press()
    assert desk.step == "B: sew again after sewing 1"
    desk.do_step()
    assert desk.step == "B: compare after sewing 2"
    desk.do_step()
    assert desk.step == "A: compare after sewing 1"


def test_what_cannot_be_moved_is_not_taken_by_a_tap() -> None:
    """A difference that would open the trap says to make the end anew; a tap does not count."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(0.0, 0.5)
    desk.pull(10.2, 1.0)
    carry_out(desk.bench, "long?", {"difference": "-6 in"})
    assert "make the end anew" in desk.seen().sentence.text
    desk.press()
    assert desk.step == "B: adjust 1"
    carry_out(desk.bench, "override", {"by": "A. Person", "reason": "end made anew"})
    assert desk.step == "B: compare 2"


def test_a_typed_difference_needs_the_equal_pull_too() -> None:
    """Typed before its turn, or under another pull, a difference does not count; an absurd one is refused."""
    desk = Workbench()
    desk.work_to("B: compare 1")
    desk.pull(0.0, 1.0)
    carry_out(desk.bench, "long?", {"difference": "1/8 in"})
    assert desk.step == "B: compare 1"
    desk.pull(10.2, 1.0)
    desk.press()
    desk.pull(3.0, 1.0)
    carry_out(desk.bench, "long?", {"difference": "1/8 in"})
    assert desk.step == "B: compare 1"
    assert "the pull is not the same" in desk.bench.notice.text  # type: ignore[union-attr]
    desk.pull(10.2, 1.0)
    with pytest.raises(FormFault, match="24 in"):
        carry_out(desk.bench, "long?", {"difference": "1e6 ft"})


def test_silence_breaks_the_span_on_the_screen_at_once() -> None:
    """A scale that says nothing for longer than the largest gap is told broken before it speaks again."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    desk.pull(31.0, 10.0)
    desk.lbf = None
    desk.wait(0.5)
    seen = desk.seen()
    assert seen.progress.held_s == 0  # type: ignore[union-attr]
    assert "said nothing for too long" in seen.notice.text  # type: ignore[union-attr]
    assert "broken" in desk.cues
    desk.pull(31.0, 1.0)
    assert "said nothing for too long" in desk.seen().notice.text  # type: ignore[union-attr]


def test_a_piece_is_pre_stretched_once() -> None:
    """Going back over a held pre-stretch does not undo it; a new piece has to be held."""
    desk = Workbench()
    desk.work_to("A: route")
    desk.press(1.3)
    assert desk.step == "A: tack link loop"
    desk.press(1.3)
    desk.press(1.3)
    assert desk.step == "A: cut"
    assert desk.bench.next_piece == "12"
    desk.work_to("A: route")
    assert sum(isinstance(entry, HoldJudged) for entry in desk.entries) == 1


def test_a_line_with_a_loop_in_its_middle_is_worked_to_the_end() -> None:
    """A lower control line with a brake loop is marked, trapped and set like any other, and signed off."""
    desk = Workbench(plan=Path("config/jobs/lower-control.toml").read_text(encoding="utf-8"))
    keys = [step.key for step in desk.bench.state.steps]
    assert len(keys) == len(set(keys))
    for _ in range(80):
        if desk.bench.step is None:
            break
        desk.seen()
        desk.do_step()
    assert desk.bench.step is None


def test_plain_marks_are_shown_with_the_closing_mark() -> None:
    """The step of the closing mark names each plain mark and says how far past its like it goes."""
    plan = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    plan = plan.replace(
        '{ name = "toggle", at = "60 in" }', '{ name = "toggle", at = "60 in" }, { name = "stop", at = "78 in" }'
    )
    desk = Workbench(plan=plan)
    desk.work_to("lower control canopy end: mark")
    seen = desk.seen()
    assert seen.sentence.text == "Leave lower control 5/16 in long, then mark it and toggle, stop"
    assert [words.text for words in seen.second][2] == "toggle level with its like, stop 3/16 in past its like"
    assert seen.drawing is not None
    assert seen.drawing.mark == "entry"
    assert [mark.name for mark in seen.drawing.drawing.lines[0].marks] == ["toggle", "stop"]


def test_a_leg_of_its_own_is_named_and_cut() -> None:
    """A loop whose leg is a piece of its own says how long to cut it, and numbers it from its cutting on."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop leg: cut")
    seen = desk.seen()
    assert seen.sentence.text == "Cut the leg of lower control's loop, and number it piece 13"
    assert isinstance(seen.number, LengthNumber)
    assert seen.number.stacked == stacked_length(9.5 * 0.0254)
    desk.work_to("lower control brake loop below: trap")
    cut = desk.entries[-1]
    assert isinstance(cut, PieceCut)
    assert (cut.line, cut.piece, cut.length_um) == ("lower control brake loop leg", "13", 241_300)
    seen = desk.seen()
    assert seen.sentence.text == "Trap the leg into lower control, below the brake loop"
    assert seen.under == "Leg: piece 13, tapered."
    desk.work_to("lower control brake loop above: mark")
    (made,) = (each for each in desk.entries if isinstance(each, TrapMade) and "brake loop" in each.trap)
    assert made.guest == "lower control brake loop leg, piece 13,"
    assert stock_of(desk.bench.state, cut.line) == stock_of(desk.bench.state, "lower control")


def own_leg() -> str:
    """Give a plan whose loop has a leg of its own piece."""
    text = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    return text.replace('leg = "running end"', 'leg = "own piece"').replace('at = "18 in"', 'at = "30 in"')


def test_a_scrapped_leg_is_cut_anew_under_another_number() -> None:
    """Once it is trapped at both ends a leg carries: over the ceiling it is blocked, and scrapped it is cut again."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop above: mark")
    assert desk.bench.state.pieces_of(desk.bench.step) == ("12",)  # type: ignore[arg-type]  # there is one
    desk.work_to("lower control canopy end: mark")
    desk.pull(61.0, 0.5)
    assert desk.bench.state.blocked.keys() == {"12", "13"}
    desk.bench.record(PieceReleased(job="26-0001", piece="12", by="A. Person", reason="looked at"), stay=True)
    desk.bench.record(PieceScrapped(job="26-0001", piece="13", by="A. Person", reason="over the ceiling"))
    assert desk.step == "lower control brake loop leg: cut"
    assert "piece 14" in desk.seen().sentence.text
    desk.work_to("lower control canopy end: mark")
    assert desk.bench.state.pieces["lower control brake loop leg"] == "14"
    assert desk.folded().steps == desk.bench.state.steps


def test_a_leg_trapped_before_legs_were_numbered_is_not_asked_for() -> None:
    """A job whose leg was trapped without a number goes on, and its record says what is not known."""
    desk = Workbench(plan=own_leg())
    desk.work_to("lower control brake loop above: mark")
    before = [entry for entry in desk.entries if getattr(entry, "step", "") != "lower control brake loop leg: cut"]
    state = fold(enumerate(before, 1))
    assert state.now is not None
    assert state.now.key == "lower control brake loop above: mark"
    assert not any(step.kind == "cut leg" for step in state.steps)


def test_a_mark_without_an_offset_is_level_and_not_past() -> None:
    """Where nothing shortens below a mark it is level with the opposite number's, and no arrow is drawn."""
    text = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
    desk = Workbench(plan=text)
    desk.work_to("lower control brake loop above: mark")
    seen = desk.seen()
    assert seen.sentence.text == "Mark where lower control's running end enters its own braid, above the brake loop"
    assert [words.text for words in seen.second][:2] == ["level with the", "opposite number's entry"]
    assert seen.arrow is None


def test_handling_a_line_is_no_attempt() -> None:
    """A tug of ten pounds in a pre-stretch step is filed nowhere."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    filed = len(desk.entries)
    desk.hold(10.0, 3.0)
    assert len(desk.entries) == filed


@pytest.mark.parametrize("batch", [1, 7, 80, 4000])
def test_attempts_are_the_same_in_any_batches(batch: int) -> None:
    """Two pulls with a slack between them are two attempts, however the readings come."""
    watch = HoldWatch(MAIN, None, None)
    forces = [0.0] * 200 + [31.0] * 400 + [0.0] * 120 + [31.0] * 2500 + [0.0] * 100
    rows = [Reading(n * 12_500, force, "lbf", None, 0) for n, force in enumerate(forces)]
    closed = []
    for start in range(0, len(rows), batch):
        closed += [fact for fact in watch.feed(rows[start : start + batch]) if isinstance(fact, Closed)]
    assert [fact.judgement.reasons for fact in closed] == [("short",), ("no-scale-check",)]
    assert [len(fact.trace) for fact in closed] == [642, 2440]


def test_the_sentence_says_how_far_to_the_band_and_on_which_side() -> None:
    """Below, in, near the edge and above, the sentence says what to do."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    assert desk.seen().sentence.text == "Pull A to 30 pounds"
    desk.pull(20.0, 1.0)
    assert desk.seen().sentence.text == "Pull 10 pounds more"
    desk.pull(28.1, 1.0)
    assert desk.seen().second[-1].text == "in the band, but too near its edge for this scale"
    desk.pull(31.0, 2.0)
    assert desk.seen().sentence.text == "Pre-stretch, 29 s to go"
    desk.pull(48.0, 1.0)
    assert desk.seen().sentence.text == "Ease off 3.2 pounds"
    assert desk.seen().notice.text.startswith("You pulled above the band after")  # type: ignore[union-attr]
    desk.pull(61.0, 0.5)
    assert desk.seen().sentence.text == "Over the ceiling: ease off"


def test_a_pull_that_sinks_is_forecast() -> None:
    """A pull that falls by the logarithm of time is told to be topped up before it leaves the band."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 1.0)
    for tenth in range(120):
        desk.pull(31.0 - 0.9 * __import__("math").log(1 + tenth / 10), 0.1)
    assert "more: you fall below in" in desk.seen().sentence.text
    assert desk.seen().second[-1].text.endswith("s to go")
    assert "leaving band" in desk.cues
    assert desk.seen().card.forecast is not None  # type: ignore[union-attr]


def test_main_spec_is_the_handbooks() -> None:
    """The tests' hold is the ready-made one for a high-modulus main line."""
    from station.settings.hold import ready_made_hold

    ready = ready_made_hold("main-hmpe")
    assert (ready.target_mn, ready.low_mn, ready.high_mn, ready.ceiling_mn) == (
        MAIN.target_mn,
        MAIN.low_mn,
        MAIN.high_mn,
        MAIN.ceiling_mn,
    )


@pytest.mark.parametrize(("lbf", "said"), [(24.0, "Pull"), (50.0, "Ease off")])
def test_who_leaves_the_band_is_never_told_to_hold_it_there(lbf: float, said: str) -> None:
    """From the first reading outside on, the sentence says which way to pull."""
    desk = Workbench()
    desk.work_to("A: pre-stretch")
    desk.pull(0.0, 2.0)
    desk.pull(31.0, 5.0)
    for _ in range(12):
        desk.pull(lbf, 0.0125)
        assert desk.seen().sentence.text.startswith(said)
