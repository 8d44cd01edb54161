from __future__ import annotations

import hashlib
import math
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.events import PedalLost, PedalUp, Reading
from station.bench.hook import Hook
from station.bench.snapshot import ErrorsCard, ListCard
from station.bench.weighing import DailyCheck, FullCheck, uncertainty_of
from station.bench.weights import Place, WeightsFault, full_plan, load_of, read_weights
from station.measuring.scale_check import check_scale, read_check, uncertainty_at, weight_n
from station.records.entries import DailyChecked, ScaleChecked
from tests.station.bench.weighbench import LBF_N, MODEL, PLACE, SETTINGS, TARGET_MN, WEIGHTS, Weighbench

FORM = {"by": "A. Person", "weights": "set 2"}


def full_of(bench: Weighbench) -> FullCheck:
    """Give the full check under way."""
    assert isinstance(bench.work, FullCheck)
    return bench.work


def test_a_full_check_is_done_by_foot_alone_but_for_the_name() -> None:
    """Every weight of three runs up and one down is read by taps on a bouncing pedal; the name is typed."""
    bench = Weighbench(gain=1.001).full()
    bench.weigh()
    assert [each.load for each in bench.work.weighed] == list(full_plan(read_weights(WEIGHTS, PLACE)))
    assert bench.file.entries == []
    assert bench.seen().commands == ("file", "back")
    bench.work.do("file", FORM)
    (entry,) = bench.file.entries
    assert isinstance(entry, ScaleChecked)
    assert (entry.scale, entry.target_mn, entry.scale_class, entry.by) == ("test scale", TARGET_MN, "0.5", "A. Person")
    assert entry.weights == "5 kg, 10 kg, 15 kg, 20 kg; set 2"
    assert entry.latitude == "47.5 deg"
    assert bench.seen().recorded == "scale checked, class 0.5"


def test_the_command_reads_the_check_to_the_same_result(tmp_path: Path) -> None:
    """The CSV that is kept has the hash that is filed, and read as `fidbench scale-check` reads it says the same."""
    bench = Weighbench(gain=1.002, offset_n=0.1).full()
    bench.weigh()
    bench.work.do("file", FORM)
    (entry,), ((text, _),) = bench.file.entries, bench.file.files
    assert isinstance(entry, ScaleChecked)
    assert entry.check_hash == hashlib.sha256(text.encode()).hexdigest()
    file = tmp_path / "check.csv"
    file.write_text(text)
    indications, by_mass = read_check(file, math.radians(47.5), PLACE.height_m)
    check = check_scale(indications, SETTINGS.capacity_mn / 1000, (SETTINGS.resolution_mn or 0) / 1000, by_mass)
    found = uncertainty_at(check, TARGET_MN / 1000, latitude_known=True)
    assert entry.uncertainty == uncertainty_of(found).facts()
    assert entry.scale_class == check.scale_class
    assert [point["mean_error_un"] for point in entry.points] == [
        round(point.mean_error_n * 1e6) for point in check.points
    ]


def test_the_error_of_the_scale_is_found() -> None:
    """A scale that reads 0.2 % too much is found to do so, and U covers that error whole."""
    bench = Weighbench(gain=1.002).full()
    bench.weigh()
    result = full_of(bench).result
    assert result is not None
    assert result.at_target.error_n == pytest.approx(0.002 * TARGET_MN / 1000, abs=0.05)
    assert result.at_target.expanded_n > result.at_target.error_n
    shown = [words.text for words in bench.seen().second]
    assert shown[0].startswith("at 30 pounds, mean error +0.06")


def test_a_tap_that_is_not_steady_is_not_counted() -> None:
    """While a weight swings a tap is not counted and says why; once it hangs still the same tap counts."""
    bench = Weighbench().full()
    bench.weigh(1)
    bench.hang_asked()
    bench.press()
    assert len(bench.work.weighed) == 1
    assert bench.work.notice is not None
    assert bench.work.notice.text == "Not counted: it is not steady yet: let it hang still."
    bench.wait_until_steady()
    bench.press()
    assert len(bench.work.weighed) == 2
    assert bench.work.notice is None


def test_a_tap_on_the_wrong_weight_asks_what_hangs() -> None:
    """With 22.1 lbf on the hook and 5 kg asked for, a tap is not counted, however often, and asks."""
    bench = Weighbench().full()
    bench.weigh(1)
    bench.hang(22.1 * LBF_N)
    bench.wait(4)
    for _ in range(3):
        bench.press()
        assert bench.work.notice is not None
        assert bench.work.notice.text == "Not counted: this reads 22.1 lbf: is 5 kg hanging?"
    assert len(bench.work.weighed) == 1


@pytest.mark.parametrize(("away", "counts"), [(-0.11, False), (-0.09, True), (0.09, True), (0.11, False)])
def test_a_reading_within_a_tenth_counts(away: float, counts: bool) -> None:
    """A reading up to a tenth away from what should hang there is an error to be found, beyond it a wrong weight."""
    bench = Weighbench().full()
    bench.weigh(2)
    bench.hang(weight_n(10, PLACE.gravity) * (1 + away))
    bench.wait(4)
    bench.press()
    assert (len(bench.work.weighed) == 3) is counts


def test_a_weight_like_its_neighbour_is_not_taken_for_it() -> None:
    """Where the weight before lies within a tenth of the one asked for, leaving it on the hook is still noticed."""
    bench = Weighbench().full("10 kg, 14 kg, 15 kg")
    bench.weigh(3)
    assert bench.work.load is not None
    assert bench.work.load.text == "15 kg"
    bench.wait(3)
    bench.press()
    assert len(bench.work.weighed) == 3
    assert bench.work.notice is not None
    assert "is 15 kg hanging?" in bench.work.notice.text


def test_a_zero_that_did_not_come_back_is_read() -> None:
    """A zero that is twenty steps off is read and counted against the scale, not refused."""
    bench = Weighbench(offset_n=20 * MODEL.resolution_n).full()
    bench.weigh()
    result = full_of(bench).result
    assert result is not None
    assert result.check.largest_zero_n == pytest.approx(20 * MODEL.resolution_n, abs=MODEL.resolution_n)
    assert result.check.scale_class is None


def test_a_long_press_goes_back_one_weight_and_erases_nothing() -> None:
    """A long press asks for the last weight again; what was read for it is kept, apart, with the check."""
    bench = Weighbench().full()
    bench.press(1_300_000)
    assert bench.work.notice is not None
    assert bench.work.notice.text == "Not counted: this is the first weight."
    bench.weigh(3)
    first = bench.work.weighed[-1]
    bench.press(1_300_000)
    assert "long press" in bench.cues
    assert bench.work.load == first.load
    assert bench.work.set_aside == [first]
    bench.weigh()
    bench.work.do("file", FORM)
    (check_csv, set_aside_csv), = bench.file.files  # fmt: skip
    assert check_csv.count("\n") == len(bench.work.loads) + 1
    assert f"1,up,10 kg,{first.indicated_un / 1e6:.6f} N" in set_aside_csv
    bench.work.do("back")
    assert bench.work.notice is not None
    assert "filed" in bench.work.notice.text


def test_a_result_can_be_gone_back_on() -> None:
    """A long press on the result asks for the last zero again, and the result is worked out anew."""
    bench = Weighbench().full()
    bench.weigh()
    bench.press(1_300_000)
    assert full_of(bench).result is None
    bench.work.do("file", FORM)
    assert bench.file.entries == []
    bench.weigh()
    bench.work.do("file", FORM)
    bench.work.do("file", FORM)
    assert len(bench.file.entries) == 1


def test_drift_since_the_check_before_is_counted() -> None:
    """The change of the mean error at the target since the check before enters U as drift."""
    bench = Weighbench(gain=1.002).full()
    work = full_of(bench)
    work.error_before_un = 0
    bench.weigh()
    assert work.result is not None
    found = work.result.at_target
    assert found.parts_n["drift"] == pytest.approx(found.error_n / math.sqrt(3))


def test_a_lost_cable_loses_no_weight() -> None:
    """With the cable out nothing counts and the number goes; plugged in again, the check goes on where it was."""
    bench = Weighbench().full()
    bench.weigh(3)
    bench.unplug()
    bench.wait(0.5)
    assert bench.seen().number is not None
    assert bench.seen().sentence.text.startswith("No reading")
    bench.press()
    assert bench.work.notice is not None
    assert bench.work.notice.text == "Not counted: there is no reading from the scale."
    bench.replug()
    bench.weigh(1)
    assert len(bench.work.weighed) == 4


def test_a_check_that_is_left_is_kept() -> None:
    """What was read of a check whose window is closed before it is filed is kept; a filed one is kept once."""
    bench = Weighbench().full()
    bench.work.leave()
    assert bench.file.unfinished == []
    bench.weigh(3)
    bench.press(1_300_000)
    bench.work.leave()
    (text,) = bench.file.unfinished
    assert text.count("\n") == 4
    bench.weigh()
    bench.work.do("file", FORM)
    bench.work.leave()
    assert len(bench.file.unfinished) == 1


def test_a_lost_pedal_is_said() -> None:
    """A pedal that goes away is said in the notice and the top line, and is back when it is."""
    bench = Weighbench().full()
    bench.work.take([PedalLost(1, "the pedal's cable is out", "plug it in")])
    assert bench.seen().header.foot.text == "no pedal"
    bench.work.take([PedalUp(2, "test")])
    assert bench.seen().header.foot.text == "foot ready"
    bench.work.take([PedalUp(3, "socket://h:1", watched=False)])
    assert bench.seen().header.foot.text == "foot ready, not watched"
    notice = bench.seen().notice
    assert notice is not None
    assert notice.text == "Nothing would show that the pedal's server hangs: see that each tap counts."


def test_what_cannot_be_filed_can_be_filed_again() -> None:
    """A full disk is said and nothing is shown as recorded; once there is room the same check is filed."""
    bench = Weighbench().full()
    bench.weigh()
    bench.file.full = True
    bench.work.do("file", FORM)
    seen = bench.seen()
    assert seen.notice is not None
    assert seen.notice.text == "Not recorded: the disk is full: make room, then go on"
    assert (seen.recorded, bench.file.entries, seen.commands) == ("", [], ("file", "back"))
    bench.file.full = False
    bench.work.do("file", FORM)
    assert len(bench.file.entries) == 1


def test_a_daily_check_that_cannot_be_filed_is_tapped_again() -> None:
    """With the disk full the daily weight does not count; once there is room a tap files it."""
    bench = Weighbench().daily()
    bench.file.full = True
    bench.weigh(1)
    assert bench.file.entries == []
    assert bench.seen().sentence.text == "Steady: tap"
    bench.file.full = False
    bench.weigh()
    assert len(bench.file.entries) == 1


def test_without_a_resolution_steady_is_a_thousandth_of_the_capacity() -> None:
    """Where no resolution is known the check still goes on, and finds no class."""
    bench = Weighbench().full(resolution_mn=None)
    bench.weigh()
    result = full_of(bench).result
    assert result is not None
    assert result.check.scale_class is None


def test_each_error_is_on_the_card_as_it_comes() -> None:
    """After each loaded reading the card has one point more, and names the limit they all lie within."""
    bench = Weighbench(gain=1.007).full()
    for count in (0, 1, 2, 3, 4):
        card = bench.seen().card
        assert isinstance(card, ErrorsCard)
        assert len(card.points) == max(0, count - 1)
        assert card.inside == (1.0 if count > 1 else None)
        bench.weigh(1)


def test_the_daily_check_takes_less_than_twenty_seconds() -> None:
    """From the window's opening to the filed agreement, hanging included, less than twenty seconds pass."""
    bench = Weighbench(gain=1.001).daily()
    bench.wait(5.0)  # the weight is fetched
    bench.weigh()
    assert bench.at_us < 20e6
    (entry,) = bench.file.entries
    assert isinstance(entry, DailyChecked)
    assert (entry.agreed, entry.within_mn) == (True, 534)
    assert bench.seen().sentence.text == "The scale agrees: good for today"
    assert "time complete" in bench.cues


def test_a_daily_check_that_disagrees_names_the_holds() -> None:
    """Outside U the disagreement is filed and every hold since the last agreement is on the list, walked by taps."""
    holds = [f"26-{number:04d}, piece {number}, 2026-06-01" for number in range(1, 30)]
    bench = Weighbench(gain=1.01).daily(revisit=holds)
    bench.weigh()
    (entry,) = bench.file.entries
    assert isinstance(entry, DailyChecked)
    assert not entry.agreed
    seen = bench.seen()
    assert seen.sentence.text == "Stop: the scale reads 0.33 lbf too much"
    assert isinstance(seen.card, ListCard)
    assert [hold for hold, _ in seen.card.items] == holds
    for place in range(1, 4):
        bench.press()
        card = bench.seen().card
        assert isinstance(card, ListCard)
        assert card.items[place][1] == "now"
    bench.press(1_300_000)
    bench.gain = 1.0
    bench.weigh()
    assert [each.agreed for each in bench.file.entries if isinstance(each, DailyChecked)] == [False, True]


def test_a_daily_check_far_off_counts_on_the_second_tap() -> None:
    """A scale that is a fifth off is doubted first; a second tap files that it did not agree."""
    bench = Weighbench(gain=0.8).daily()
    bench.hang_asked()
    bench.wait(4)
    bench.press()
    assert bench.work.notice is not None
    assert bench.work.notice.text == "Not counted: this reads 26.5 lbf: is 15 kg hanging? If so, tap again."
    bench.press()
    (entry,) = bench.file.entries
    assert isinstance(entry, DailyChecked)
    assert not entry.agreed


@pytest.mark.parametrize(("off_mn", "agreed"), [(0, True), (534, True), (-534, True), (535, False), (-535, False)])
def test_agreement_is_within_u_inclusive(off_mn: int, agreed: bool) -> None:
    """A known weight agrees when it is indicated within U, to the millinewton, U included."""
    bench = Weighbench()
    weight = load_of("150 N", PLACE)
    bench.work = DailyCheck(replace(SETTINGS, resolution_mn=1000), weight, TARGET_MN, 534, (), bench.file)
    force_n = 150 + off_mn / 1000
    bench.work.take([Reading(at, force_n, "N", None, at) for at in range(0, 2_000_000, 50_000)])
    bench.work.now_us = 2_000_000
    bench.work.tap()
    (entry,) = bench.file.entries
    assert isinstance(entry, DailyChecked)
    assert entry.agreed is agreed


def test_another_daily_weight_must_be_near_the_target() -> None:
    """Another weight may be hung instead, before the first is read, if it is near the target."""
    work = Weighbench().daily().work
    assert isinstance(work, DailyCheck)
    work.hang_instead(load_of("12 kg", PLACE))
    assert work.load is not None
    assert work.load.text == "12 kg"
    with pytest.raises(WeightsFault, match=r"found 5 kg \(11.0 lbf\), expected a weight near the target of 30.0 lbf"):
        work.hang_instead(load_of("5 kg", PLACE))


@pytest.mark.parametrize(("text", "said"), [
    ("5 kg, 10 kg", "weights: found 2, expected at least 3"),
    ("5 kg, 5 kg, 10 kg", "found 5 kg after 5 kg, expected each heavier"),
    ("5, 10 kg, 15 kg", "found '5', expected a mass or a force"),
    ("0 kg, 5 kg, 10 kg", "found '0 kg', expected more than nothing"),
    ("2,5 kg, 10 kg, 15 kg", "found '2', expected a mass or a force"),
])  # fmt: skip
def test_weights_that_make_no_check_are_refused(text: str, said: str) -> None:
    """Too few weights, weights out of order, bare numbers, nothing, and decimal commas are each named."""
    with pytest.raises(WeightsFault, match=said):
        read_weights(text, Place())


@pytest.mark.parametrize(("text", "said"), [
    ("5 kg, 10 kg, 12 kg", "found a target of 30.0 lbf, expected one from the lightest weight"),
    ("10 kg, 20 kg, 60 kg", r"found 60 kg \(132.3 lbf\), expected no more than the scale's capacity of 100.0 lbf"),
])  # fmt: skip
def test_weights_that_do_not_fit_the_scale_are_refused(text: str, said: str) -> None:
    """A target outside the weights and a weight beyond the capacity are refused with both figures."""
    with pytest.raises(WeightsFault, match=said):
        Weighbench().full(text)


def test_a_target_on_the_heaviest_weight_is_inside() -> None:
    """A target of 30 lbf, kept in whole millinewtons, lies inside weights that end at 30 lbf."""
    bench = Weighbench().full("10 lbf, 20 lbf, 30 lbf")
    bench.weigh()
    result = full_of(bench).result
    assert result is not None
    assert result.at_target.parts_n["gravity"] == 0


readings = st.lists(
    st.tuples(
        st.sampled_from([50_000, 200_000, 300_000, 400_000, 1_000_000, 1_000_001]),
        st.sampled_from([*range(49_000, 49_101, 10), 49_101, 49_102, None]),
        st.sampled_from([*["stable"] * 20, None, "unstable"]),
    ),
    min_size=5,
    max_size=30,
)


@given(readings, st.integers(1, 7))
def test_steady_is_what_a_plain_look_back_says(rows: list[tuple[int, int | None, str | None]], size: int) -> None:
    """However the readings are cut into batches, steady is what a slow look at all of them says."""
    hook, whole, at_us = Hook(spread_mn=100), [], 0
    for gap_us, tension_mn, status in rows:
        at_us += gap_us
        force = None if tension_mn is None else tension_mn / 1000
        whole.append(Reading(at_us, force, "N", status if force is not None else "fault", at_us))  # type: ignore[arg-type]  # words of tests
    for start in range(0, len(whole), size):
        hook.add(whole[start : start + size])
    assert hook.is_steady == slow_steady(whole, spread_n=0.1)


def slow_steady(whole: list[Reading], spread_n: float) -> bool:
    """Tell from the rule alone whether the last readings are steady."""
    kept = [each for each in whole if each.at_us >= whole[-1].at_us - 10_000_000]
    forces = [each for each in kept if each.force is not None]
    if len(forces) < 5:
        return False
    from_us = min(whole[-1].at_us - 1_500_000, forces[-5].at_us)
    if forces[0].at_us > from_us:
        return False
    first = next(each for each in forces if each.at_us >= from_us)
    run = [each for each in kept if each.at_us >= first.at_us]
    if any(each.force is None or each.status in {"unstable", "overload", "fault"} for each in run):
        return False
    values = [round((each.force or 0) * 1000) for each in run]
    gaps = [late.at_us - early.at_us for early, late in pairwise(run)]
    return max(values) - min(values) <= round(spread_n * 1000) and all(gap <= 1_000_000 for gap in gaps)


@pytest.mark.parametrize(("gain", "known"), [(1.001, "scale checked today"), (1.01, "scale did not agree")])
def test_the_top_line_says_what_is_true_once_the_daily_check_is_filed(gain: float, known: str) -> None:
    """Before the weight is read the scale is not checked today; afterwards the top line says what was found."""
    bench = Weighbench(gain=gain).daily()
    bench.hang_asked()
    assert bench.seen().header.scale.text.startswith("scale not checked today")
    bench.weigh()
    assert bench.seen().header.scale.text.startswith(known)
