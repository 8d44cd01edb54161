"""Stamps from arrivals."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.stamps import Stamper

arrivals = st.lists(st.tuples(st.integers(0, 5), st.integers(0, 200_000)), max_size=60)


@given(arrivals, st.none() | st.integers(1, 100_000), st.lists(st.booleans(), min_size=60, max_size=60))
def test_stamps_only_ever_rise(steps: list[tuple[int, int]], period_us: int | None, resumed: list[bool]) -> None:
    """Whatever arrives and whenever, there is one stamp a frame, and each is later than the one before."""
    stamper = Stamper(period_us)
    stamps, now_us, floor_us = [], 0, -1
    for (count, later_us), resume in zip(steps, resumed, strict=False):
        now_us += later_us
        if resume:
            stamper.resume(now_us)
            floor_us = now_us
            now_us += later_us
        given_now = stamper.stamp(count, now_us)
        assert len(given_now) == count
        assert not resume or not given_now or given_now[0] > floor_us
        stamps += given_now
    assert stamps == sorted(set(stamps))


def test_alone_a_frame_is_stamped_at_its_arrival() -> None:
    """A frame that comes alone has its arrival as its stamp, however irregular the arrivals are."""
    stamper = Stamper(period_us=10)
    assert [stamper.stamp(1, at_us) for at_us in (5, 1000, 1001, 9000)] == [[5], [1000], [1001], [9000]]


def test_a_burst_is_spread_back_at_the_nominal_period() -> None:
    """Frames that come in one read are spread back from their arrival, and leave the gap before them as it was."""
    stamper = Stamper(period_us=100)
    stamper.stamp(1, 1000)
    assert stamper.stamp(3, 2000) == [1800, 1900, 2000]


def test_what_does_not_fit_shares_the_time() -> None:
    """Frames that do not fit between the last stamp and their arrival share that time evenly."""
    stamper = Stamper(period_us=100)
    stamper.stamp(1, 1000)
    assert stamper.stamp(4, 1300) == [1075, 1150, 1225, 1300]
    assert stamper.stamp(3, 1600) == [1400, 1500, 1600]


def test_a_clock_that_stands_still() -> None:
    """Where the arrival is not later than the last stamp, stamps still rise, a microsecond at a time."""
    stamper = Stamper(period_us=100)
    assert stamper.stamp(1, 1000) + stamper.stamp(2, 1000) + stamper.stamp(1, 1000) == [1000, 1001, 1002, 1003]


def test_before_anything_is_known_nothing_is_filled() -> None:
    """Frames that come together before any period is known are stamped at their arrival, not over the gap before it."""
    stamper = Stamper()
    assert stamper.period_us is None
    stamper.stamp(1, 1000)
    assert stamper.stamp(3, 500_000) == [499_998, 499_999, 500_000]


@pytest.mark.parametrize("together", [1, 2, 4, 8, 16])
def test_the_measured_period_is_not_fooled_by_bursts(together: int) -> None:
    """An 80 Hz scale whose frames come several in a read is found to be one, and its stamps are evenly apart."""
    stamper = Stamper()
    stamps = [at_us for read in range(1, 200) for at_us in stamper.stamp(together, read * together * 12_500)]
    assert stamper.period_us == 12_500
    assert {late - early for early, late in pairwise(stamps[100:])} == {12_500}


@pytest.mark.parametrize("together", [3, 5, 6, 7, 9, 10])
def test_bursts_that_do_not_divide_sixteen_blur_the_period(together: int) -> None:
    """Where sixteen frames are no whole number of bursts, the period is found to within half a burst in sixteen."""
    stamper = Stamper()
    for read in range(1, 200):
        stamper.stamp(together, read * together * 12_500)
    assert stamper.period_us == pytest.approx(12_500, rel=together / 2 / 16 + 1e-3)


def test_a_pause_does_not_change_the_measured_period() -> None:
    """A minute without readings is one arrival among many, and the period stays what it was."""
    stamper = Stamper()
    for at_us in [*range(0, 1_000_000, 12_500), *range(61_000_000, 61_250_000, 12_500)]:
        stamper.stamp(1, at_us)
    assert stamper.period_us == 12_500


def test_a_scale_that_changes_its_pace_is_followed_after_half_of_what_is_looked_at() -> None:
    """The median over the last 64 spacings is the old pace's while half of them are, and moves with the next one."""
    stamper = Stamper()
    for at_us in range(0, 2_000_000, 10_000):
        stamper.stamp(1, at_us)
    for at_us in range(2_010_000, 2_010_000 + 32 * 20_000, 20_000):
        stamper.stamp(1, at_us)
    assert stamper.period_us == 10_000
    stamper.stamp(1, 2_010_000 + 32 * 20_000)
    assert 10_000 < (stamper.period_us or 0) <= 20_000


def test_a_scale_that_quickens_is_followed_with_half_of_what_is_looked_at() -> None:
    """The lower median over the last 64 spacings moves with the 32nd of a quicker pace, and not with the 31st."""
    stamper = Stamper()
    for at_us in [*range(0, 2_000_000, 20_000), *range(1_990_000, 1_990_000 + 31 * 10_000, 10_000)]:
        stamper.stamp(1, at_us)
    assert stamper.period_us == 20_000
    stamper.stamp(1, 1_990_000 + 31 * 10_000)
    assert stamper.period_us == (15 * 20_000 + 10_000) // 16  # fifteen slow spacings and a quick one: the slowest new


def test_a_period_must_be_above_zero() -> None:
    """A nominal period of nothing is refused."""
    with pytest.raises(ValueError, match="found a period of 0 us"):
        Stamper(0)


def test_an_adapter_that_holds_bytes_for_16_ms() -> None:
    """Behind an adapter that hands over every 16 ms, spread stamps keep the spacing that arrivals lose.

    A scale of 200 readings a second: three or four frames come together. Stamped by arrival the spacing is wrong by up
    to 16 ms, with frames on top of each other; spread back at the nominal period by no more than a period.
    """
    period_us, latency_us = 5_000, 16_000
    sent_us = [n * period_us + 1_000 for n in range(400)]
    reads: dict[int, list[int]] = {}
    for at_us in sent_us:
        reads.setdefault(-(-at_us // latency_us) * latency_us, []).append(at_us)
    stamper = Stamper(period_us)
    arrived: list[int] = []
    stamped: list[int] = []
    for at_us, frames in reads.items():
        arrived += [at_us] * len(frames)
        stamped += stamper.stamp(len(frames), at_us)

    def worst_spacing(stamps: list[int]) -> int:
        return max(abs(later - earlier - period_us) for earlier, later in pairwise(stamps))

    assert worst_spacing(arrived) >= latency_us - period_us
    assert min(later - earlier for earlier, later in pairwise(arrived)) == 0
    assert worst_spacing(stamped) <= period_us
    assert max(abs(s - t) for s, t in zip(stamped, sent_us, strict=True)) <= latency_us
