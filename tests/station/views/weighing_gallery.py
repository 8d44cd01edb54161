"""Telling moments of checking a scale, each reached by driving a virtual scale and a pedal."""

from __future__ import annotations

from collections.abc import Callable

from station.bench.snapshot import Snapshot
from tests.station.bench.weighbench import LBF_N, Weighbench

HOLDS = tuple(f"26-{number:04d}, piece {number + 11}, 2026-06-{number % 28 + 1:02d}" for number in range(1, 19))


def begun() -> Snapshot:
    """Show the first thing a full check asks for, before the scale has spoken."""
    return Weighbench().full().seen()


def swinging() -> Snapshot:
    """Show a weight that still swings."""
    bench = Weighbench(gain=1.002).full()
    bench.weigh(3)
    bench.hang_asked()
    bench.wait(0.6)
    return bench.seen()


def steady() -> Snapshot:
    """Show a weight that hangs still."""
    bench = Weighbench(gain=1.002).full()
    bench.weigh(8)
    bench.hang_asked()
    bench.wait_until_steady()
    return bench.seen()


def doubted() -> Snapshot:
    """Show a tap on the wrong weight."""
    bench = Weighbench().full()
    bench.weigh(1)
    bench.hang(22.1 * LBF_N)
    bench.wait(4)
    bench.press()
    return bench.seen()


def unplugged() -> Snapshot:
    """Show a cable pulled in mid-check."""
    bench = Weighbench().full()
    bench.weigh(7)
    bench.unplug()
    bench.wait(1.2)
    return bench.seen()


def on_the_way_down() -> Snapshot:
    """Show the third run down, with one reading set aside."""
    bench = Weighbench(gain=0.994).full()
    bench.weigh(17)
    bench.press(1_300_000)
    bench.weigh(1)
    bench.wait(0.5)
    return bench.seen()


def found() -> Snapshot:
    """Show what a good scale is found to be."""
    bench = Weighbench(gain=1.001).full()
    bench.weigh()
    return bench.seen()


def fits_no_class() -> Snapshot:
    """Show what a bad scale is found to be."""
    bench = Weighbench(gain=1.03, offset_n=1.5).full()
    bench.weigh()
    return bench.seen()


def without_resolution() -> Snapshot:
    """Show a result without a class."""
    bench = Weighbench().full(resolution_mn=None)
    bench.weigh()
    return bench.seen()


def filed() -> Snapshot:
    """Show a check that is filed."""
    bench = Weighbench(gain=1.001).full()
    bench.weigh()
    bench.work.do("file", {"by": "A. Person", "weights": "set 2"})
    return bench.seen()


def in_newtons() -> Snapshot:
    """Show a full check in newtons."""
    bench = Weighbench(gain=1.012).full(unit="N")
    bench.weigh(9)
    bench.wait(0.3)
    return bench.seen()


def daily() -> Snapshot:
    """Show the daily weight, hanging still."""
    bench = Weighbench().daily()
    bench.hang_asked()
    bench.wait_until_steady()
    return bench.seen()


def daily_agreed() -> Snapshot:
    """Show a scale that agrees."""
    bench = Weighbench(gain=1.001).daily()
    bench.weigh()
    return bench.seen()


def daily_disagreed() -> Snapshot:
    """Show a scale that does not agree, and many holds to revisit."""
    bench = Weighbench(gain=1.01).daily(revisit=HOLDS)
    bench.weigh()
    for _ in range(9):
        bench.press()
    return bench.seen()


def disk_full() -> Snapshot:
    """Show a check that cannot be filed."""
    bench = Weighbench().full()
    bench.weigh()
    bench.file.full = True
    bench.work.do("file", {"by": "A. Person", "weights": "set 2"})
    return bench.seen()


MOMENTS: dict[str, Callable[[], Snapshot]] = {
    maker.__name__: maker
    for maker in (
        begun, swinging, steady, doubted, unplugged, on_the_way_down, found, fits_no_class, without_resolution, filed,
        in_newtons, daily, daily_agreed, daily_disagreed, disk_full,
    )
}  # fmt: skip
