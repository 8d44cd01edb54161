from __future__ import annotations

import dataclasses
import sys
from pathlib import Path

import pytest

from drivers.events import Garbage, PedalEdge, PedalLost, PedalUp, Reading
from station.bench.hold_watch import HoldWatch
from station.measuring.hold import HoldSpecification, ScaleUncertainty, judge
from station.measuring.live_hold import Closed
from station.records.entries import (
    HoldCompleted,
    HoldJudged,
)

sys.path.insert(0, str(Path(__file__).parent))
from workbench import MAIN, Workbench, last_hold


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
    assert desk.seen().notice is None  # no time starts again in a pull that is void


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
