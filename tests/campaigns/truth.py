"""Whether *held* means that the line was held: `python -m tests.campaigns.truth --json [--seed N] [--size HOLDS]`.

Simulated pulls of which the true tension is known (`tests.campaigns.pulls`) go through the scale's real bytes, the
wire with its faults, the production decoder, the stamps and the hold's rule. What the truth was is worked out here
from the true tension alone, by no code of the program:

- *false held*: the verdict is held, and within the deciding span the true tension was outside a tolerance limit by
  more than the scale's U for longer than the record's `blind_to_s`;
- *false held at the limit*: outside for as long, but by no more than U. Of pulls that lie exactly at a limit, a guard
  band of U = 2 u lets 2.3 % through (JCGM 106:2012, 8.3.2): the stated risk, and no mixture of pulls can see more;
- *of the scale's own fault*: falsely held, but the scale no longer kept to what was stated of it (frozen, its zero
  moved). Its bytes tell of a good pull, and no rule can know better, unless the limit meant for it is set. These are
  counted apart, under `scale_faults`;
- *clean*: no injected fault, and truly inside the acceptance limits from first to last and for long enough; *false
  not held* is a clean hold that was not held. A scale that is off by up to U may well show such a pull outside the
  acceptance limits: that is the price of the guard band. `clear` are those a further U inside.

On the same bytes: a stopwatch started at the first reading in the tolerance band and read when its time is up, and a
moving average of one second against the tolerance limits.
"""

from __future__ import annotations

import collections
import math
import sys
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter  # type: ignore[import-untyped]  # scipy ships no types

from drivers.events import Reading
from drivers.stamps import Stamper, stamped
from drivers.text_frames import TextDecoder
from simulators.faults import Wire
from simulators.scale import VirtualScale
from station.measuring.hold import typed_uncertainty
from station.measuring.live_hold import LiveHold
from tests.campaigns.campaign import Finding, Progress, limits_95, run, shared, upper_95
from tests.campaigns.pulls import GRID_US, SCALE_FAULTS, DrawnPull, Newtons, drawn

SHARE = 250
STATED_RISK = 0.02275  # one side of 95.45 %
AVERAGED_US = 1_000_000
_NEWTONS = {"N": 1.0, "lbf": 4.4482216152605, "kgf": 9.80665}

Bools = NDArray[np.bool_]


class Came(NamedTuple):
    """What one pull came to: the rule's verdict, what the truth says of it, and of the two plain methods."""

    verdict: str
    fault: str
    limited: bool  # the hold has a limit meant for the scale's own faults
    clean: bool
    clear: bool
    false_held: bool
    at_limit: bool
    lies_at_limit: bool  # truly outside a limit now and then, and never by more than U
    stopwatch: str  # "", held, or false
    average: str


def lagged(load_n: Newtons, response_us: int) -> Newtons:
    """Give what a scale feels of a load: a first-order lag, exact for a load straight from one grid point to the next.

    The simulated scale's own lag takes the load to be straight from reading to reading; of a scale of five readings a
    second that would hide half a jump, which no such scale does.
    """
    if not response_us:
        return load_n
    time = GRID_US / response_us
    kept, mean = math.exp(-time), -math.expm1(-time) / time
    felt_n, _ = lfilter([1 - mean, mean - kept], [1.0, -kept], load_n, zi=[mean * load_n[0]])
    return np.asarray(felt_n)


def readings_of(pull: DrawnPull) -> list[Reading]:
    """Give what the production decoder and the stamps make of a pull's bytes."""
    scale = VirtualScale(pull.seed, replace(pull.scale, response_us=0), pull.keys)
    felt_n = lagged(pull.true_n * pull.gain, pull.scale.response_us).tolist()
    lasts_us = (len(felt_n) - 1) * GRID_US
    wire = Wire(pull.wire, pull.seed)
    sent = scale.bytes_until(lasts_us, lambda at_us: felt_n[at_us // GRID_US])
    decoder = TextDecoder(pull.scale.format)
    stamper = Stamper(pull.scale.period_us if pull.period_known else None)
    stamper.resume(0)
    back_us = [fault.until_us for fault in pull.wire if fault.kind == "unplug"]
    readings: list[Reading] = []
    for arrived_us, raw in wire.carry(sent, lasts_us) if pull.wire else sent:
        if back_us and arrived_us >= back_us[0]:  # the link opens the port again, and tells decoder and stamps
            decoder.rejoin()
            stamper.resume(back_us.pop())
        readings += [each for each in stamped(decoder.feed(raw), stamper, arrived_us) if isinstance(each, Reading)]
    return readings


def longest_us(mask: Bools) -> int:
    """Give how long a state of the true tension lasted at the longest, at the least."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max() - 1) * GRID_US if edges.size else 0


def outside_us(pull: DrawnPull, begin_us: int, end_us: int, by_n: float) -> int:
    """Give for how long at a stretch the true tension lay outside a tolerance limit by more than `by_n`, in a span."""
    there = pull.true_n[max(begin_us, 0) // GRID_US : end_us // GRID_US + 1]
    low_n, high_n = pull.specification.low_mn / 1000, pull.specification.high_mn / 1000
    return max(longest_us(there < low_n - by_n), longest_us(there > high_n + by_n))


def inside(pull: DrawnPull, by_n: float) -> bool:
    """Tell whether the pull truly was inside the limits by `by_n` from first to last, and for long enough."""
    low_n, high_n = pull.specification.low_mn / 1000, pull.specification.high_mn / 1000
    within = (pull.true_n >= low_n + by_n) & (pull.true_n <= high_n - by_n)
    rows = np.flatnonzero(within)
    late_us = 3 * pull.scale.settling_us + 3 * pull.scale.period_us
    if not rows.size:
        return False
    stays_us = int(rows[-1] - rows[0]) * GRID_US
    return longest_us(within) == stays_us >= pull.specification.duration_us + late_us


def stopwatch(at_us: NDArray[np.int64], in_band: Bools, duration_us: int) -> tuple[int, int] | None:
    """Start at the first reading in the band; held where the first reading when the time is up is in the band."""
    if not in_band.any():
        return None
    begin_us = int(at_us[in_band.argmax()])
    up = int(np.searchsorted(at_us, begin_us + duration_us))
    return (begin_us, int(at_us[up])) if up < len(at_us) and in_band[up] else None


def moving(at_us: NDArray[np.int64], force_n: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give at each reading the mean of those of the last second."""
    sums = np.concatenate(([0.0], np.cumsum(force_n)))
    first = np.searchsorted(at_us, at_us - AVERAGED_US, side="right")
    count = np.arange(len(at_us)) + 1 - first
    return (sums[1:] - sums[first]) / count


def averaged(at_us: NDArray[np.int64], in_band: Bools, duration_us: int) -> tuple[int, int] | None:
    """Time while the average stays in the band; held where that reaches the duration."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], in_band, [False])).astype(np.int8)))
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        if at_us[after - 1] - at_us[first] >= duration_us:
            return int(at_us[first]), int(at_us[first]) + duration_us
    return None


def studied(pull: DrawnPull) -> Came:
    """Judge a pull by its bytes, and hold that against the truth."""
    readings = readings_of(pull)
    specification, expanded_n = pull.specification, pull.expanded_mn / 1000
    response_us = pull.scale.settling_us
    hold = LiveHold(specification, typed_uncertainty(pull.expanded_mn), response_us)
    hold.feed(readings)
    judged = hold.close(0).judgement
    false_held = at_limit = False
    if judged.verdict == "held" and judged.figures is not None and hold.first_us is not None:
        begin_us, end_us = judged.figures.start_us + hold.first_us, judged.figures.end_us + hold.first_us
        blind_us = judged.blind_to_us or 0
        false_held = outside_us(pull, begin_us, end_us, expanded_n) > blind_us
        at_limit = not false_held and outside_us(pull, begin_us, end_us, 0.0) > blind_us
    told = [(each.at_us, each.force * _NEWTONS[each.unit or "lbf"]) for each in readings if each.force is not None]
    at_us = np.array([each[0] for each in told], np.int64)
    force_n = np.array([each[1] for each in told])
    low_n, high_n = specification.low_mn / 1000, specification.high_mn / 1000
    blind_us = response_us + specification.max_gap_us  # the most that the rule itself may be blind to

    def plain(span: tuple[int, int] | None) -> str:
        if span is None:
            return ""
        return "false" if outside_us(pull, *span, expanded_n) > blind_us else "held"

    average_n = moving(at_us, force_n)
    clean = not pull.fault and inside(pull, expanded_n)
    return Came(
        judged.verdict,
        pull.fault,
        specification.still_limit_us is not None or specification.zero_limit_mn is not None,
        clean,
        clean and inside(pull, 2 * expanded_n),
        false_held,
        at_limit,
        inside(pull, -expanded_n) and not inside(pull, 0.0),
        plain(stopwatch(at_us, (force_n >= low_n) & (force_n <= high_n), specification.duration_us)),
        plain(averaged(at_us, (average_n >= low_n) & (average_n <= high_n), specification.duration_us)),
    )


def share(part: tuple[int, int, int]) -> tuple[collections.Counter[str], list[int]]:
    """Study some pulls; give what came of them, counted, and which were falsely held."""
    seed, first, last = part
    count: collections.Counter[str] = collections.Counter()
    false: list[int] = []
    for number in range(first, last):
        came = studied(drawn(seed, number))
        of_scale = came.fault in SCALE_FAULTS
        count[came.verdict] += 1
        count["faults"] += bool(came.fault)
        count["at_limit"] += came.at_limit
        count["lie_at_limit"] += came.lies_at_limit
        if came.clean:
            count["clean"] += 1
            count["clear"] += came.clear
            count["false_not_held"] += came.verdict != "held"
            count["clear_not_held"] += came.clear and came.verdict != "held"
            count["stopwatch_not_held"] += not came.stopwatch
            count["average_not_held"] += not came.average
        if of_scale:
            which = f"{came.fault}, {'limit set' if came.limited else 'no limit set'}"
            count[f"tried: {which}"] += 1
            count[f"false: {which}"] += came.false_held
        elif came.false_held:
            false.append(number)
        count["stopwatch_false"] += came.stopwatch == "false" and not of_scale
        count["average_false"] += came.average == "false" and not of_scale
        count["stopwatch_held"] += bool(came.stopwatch)
        count["average_held"] += bool(came.average)
    return count, false


def truth(seed: int, size: int) -> Finding:
    """Study so many pulls."""
    count: collections.Counter[str] = collections.Counter()
    false: list[int] = []
    tell = Progress(size, "holds")
    for done, (counted, numbers) in shared(share, seed, size, SHARE):
        count += counted
        false += numbers
        tell(
            done,
            f"{len(false)} falsely held, {count['at_limit']} at a limit; {count['stopwatch_false']} by a stopwatch, "
            f"{count['average_false']} by an average; {count['false_not_held']} of {count['clean']} clean not held",
        )
    of_scale = {
        name.removeprefix("tried: "): {"tried": tried, "false_held": count[name.replace("tried", "false", 1)]}
        for name, tried in sorted(count.items())
        if name.startswith("tried: ")
    }
    held = count["held"]
    above_risk = limits_95(count["at_limit"], held)[0] > STATED_RISK
    figures = {
        "holds": size,
        "false_held": len(false),
        "false_held_upper_95": upper_95(len(false), size),
        "false_held_at_limit": count["at_limit"],
        "false_held_at_limit_upper_95": upper_95(count["at_limit"], size),
        "held_at_limit_of_pulls_there": [count["at_limit"], count["lie_at_limit"]],
        "stated_risk_at_limit": STATED_RISK,
        "clean_holds": count["clean"],
        "false_not_held": count["false_not_held"],
        "false_not_held_upper_95": upper_95(count["false_not_held"], count["clean"]),
        "clear_holds": count["clear"],
        "clear_false_not_held": count["clear_not_held"],
        "stopwatch_false_held": count["stopwatch_false"],
        "average_false_held": count["average_false"],
        "stopwatch_false_not_held": count["stopwatch_not_held"],
        "average_false_not_held": count["average_not_held"],
        "verdicts": {verdict: count[verdict] for verdict in ("held", "unproven", "not-held", "void")},
        "stopwatch_held": count["stopwatch_held"],
        "average_held": count["average_held"],
        "with_an_injected_fault": count["faults"],
        "scale_faults": of_scale,
        "false_held_numbers": false[:20],
    }
    words = (
        f"Of {size} holds whose true tension is known, {held} were called held, {len(false)} of them falsely (at most "
        f"{100 * upper_95(len(false), size):.2g} % of all, with 95 % confidence); {count['at_limit']} more lay outside "
        f"a limit by no more than U. A stopwatch would have called {count['stopwatch_false']} falsely held, a moving "
        f"average {count['average_false']}. Of {count['clean']} clean holds {count['false_not_held']} were not called "
        f"held, of the {count['clear']} that were clear of the limits by a further U {count['clear_not_held']}."
    )
    return Finding(figures, words, not false and not above_risk)


if __name__ == "__main__":
    sys.exit(run(__doc__, 100_000, "holds", truth))
