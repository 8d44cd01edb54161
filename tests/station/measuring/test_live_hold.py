from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drivers.events import Reading
from station.measuring.hold import judge, typed_uncertainty
from station.measuring.live_hold import Broken, Closed, Completed, HoldFact, InBand, LiveHold, ZeroSeen
from station.settings.hold import HoldSpecification

U = typed_uncertainty(500)


def spec(**change: int) -> HoldSpecification:
    """Give a hold of one second."""
    figures: dict[str, int] = {
        "target_mn": 30_000,
        "low_mn": 28_000,
        "high_mn": 45_000,
        "ceiling_mn": 60_000,
        "duration_us": 1_000_000,
    }
    return HoldSpecification("live", **(figures | change))


def readings(*newtons: float, every_us: int = 100_000, start_us: int = 7_000_000) -> list[Reading]:
    """Give readings at a steady pace."""
    return [Reading(start_us + n * every_us, force, "N", None, 0) for n, force in enumerate(newtons)]


def names(facts: list[HoldFact]) -> list[str]:
    """Give the kinds of facts."""
    return [type(fact).__name__ for fact in facts]


def test_it_closes_exactly_at_completion_without_a_zero_limit() -> None:
    """Readings after completion, even over the ceiling, are not part of the trace."""
    hold = LiveHold(spec(), U, None)
    facts = hold.feed(readings(*[30.0] * 11, 70.0, 70.0))
    assert names(facts) == ["InBand", "Completed", "Closed"]
    assert isinstance(facts[-1], Closed)
    assert (facts[-1].judgement.verdict, len(facts[-1].trace)) == ("held", 11)


def test_it_waits_for_zero_where_a_limit_is_set() -> None:
    """With a zero limit the verdict falls at the first zero after completion, and that reading ends the trace."""
    hold = LiveHold(spec(zero_limit_mn=100), U, None)
    first = hold.feed(readings(0.0, *[30.0] * 11))
    assert names(first) == ["ZeroSeen", "InBand", "Completed"]
    assert hold.closed is None
    last = hold.feed(readings(20.0, 0.05, 0.0, start_us=8_300_000))
    assert names(last) == ["ZeroSeen", "Closed"]
    assert hold.closed is not None
    assert (hold.closed.judgement.verdict, len(hold.closed.trace)) == ("held", 14)


def test_a_zero_is_awaited_after_completion_also_where_none_came_before() -> None:
    """A complete hold with no zero before it runs on to the first zero after it, and is void all the same."""
    hold = LiveHold(spec(zero_limit_mn=100), U, None)
    assert names(hold.feed(readings(*[30.0] * 11))) == ["InBand", "Completed"]
    assert hold.feed(readings(20.0, 10.0, start_us=8_100_000)) == []
    assert names(hold.feed(readings(5.0, 0.0, 30.0, start_us=8_300_000))) == ["ZeroSeen", "Closed"]
    assert hold.closed is not None
    assert (hold.closed.judgement.verdict, len(hold.closed.trace)) == ("void", 15)
    assert hold.closed.judgement.reasons == ("zero-not-seen-before",)


def test_a_hold_begins_with_nothing_unreadable() -> None:
    """Messages that could not be read are counted from none."""
    assert LiveHold(spec(), U, None).garbage == 0


def test_a_zero_before_the_hold_is_told_once() -> None:
    """However many readings of a slack line come before the pull, that it is zero is said once."""
    hold = LiveHold(spec(zero_limit_mn=100), U, None)
    facts = [fact for reading in readings(0.0, 0.05, 0.0, 30.0) for fact in hold.feed([reading])]
    assert names(facts) == ["ZeroSeen", "InBand"]


def test_read_one_by_one_it_closes_at_the_first_zero_after_completion() -> None:
    """A zero that comes alone closes the trace as one among others does, and what comes after it is no part of it."""
    hold = LiveHold(spec(zero_limit_mn=100), U, None)
    for reading in readings(0.0, *[30.0] * 11, 20.0, 0.1, 0.0, 30.0):
        hold.feed([reading])
    assert hold.closed is not None
    assert (hold.closed.judgement.verdict, len(hold.closed.trace)) == ("held", 14)


def test_a_pull_over_the_ceiling_after_completion_voids_while_zero_is_awaited() -> None:
    """Until the trace is closed everything in it counts."""
    hold = LiveHold(spec(zero_limit_mn=100), U, None)
    hold.feed(readings(0.0, *[30.0] * 11, 61.0, 0.0))
    assert hold.closed is not None
    assert hold.closed.judgement.reasons == ("over-ceiling",)


def test_the_time_out_closes_with_or_without_readings() -> None:
    """The time-out counts from the first reading and is noticed at a reading or a tick."""
    hold = LiveHold(spec(), U, None, timeout_us=2_000_000)
    assert hold.tick(10**9) == []
    assert names(hold.feed(readings(*[10.0] * 20))) == []
    assert names(hold.feed(readings(10.0, start_us=9_000_000))) == ["Closed"]
    silent = LiveHold(spec(), U, None, timeout_us=2_000_000)
    silent.feed(readings(10.0))
    assert names(silent.tick(8_999_999)) == []
    assert names(silent.tick(9_000_000)) == ["Closed"]


def test_the_time_out_ends_the_trace_at_the_same_reading_in_any_chunking() -> None:
    """A batch that runs past the time-out is cut at the first reading that reaches it."""
    whole, singly = (LiveHold(spec(), U, None, timeout_us=1_000_000) for _ in range(2))
    rows = readings(*[10.0] * 40)
    whole.feed(rows)
    for row in rows:
        singly.feed([row])
    assert whole.closed is not None
    assert singly.closed is not None
    assert len(whole.closed.trace) == len(singly.closed.trace) == 11


def test_a_spoilt_hold_is_never_called_complete() -> None:
    """After a pull over the ceiling a full span closes the trace void, and no completion is told."""
    hold = LiveHold(spec(), U, None)
    facts = hold.feed(readings(61.0, *[30.0] * 11))
    assert hold.spoilt == ("over-ceiling",)
    assert names(facts) == ["InBand", "Closed"]


@pytest.mark.parametrize(
    ("breaking", "why"),
    [
        (Reading(7_300_000, 27.0, "N", None, 0), "below"),
        (Reading(7_300_000, 28.2, "N", None, 0), "below"),
        (Reading(7_300_000, 50.0, "N", None, 0), "above"),
        (Reading(7_450_000, 27.0, "N", None, 0), "below"),  # the longest gap still watched
        (Reading(7_450_001, 27.0, "N", None, 0), "gap"),
        (Reading(7_900_000, 30.0, "N", None, 0), "gap"),
        (Reading(7_300_000, None, "N", "fault", 0), "fault"),
        (Reading(7_300_000, None, "N", "overload", 0), "overload"),
        (Reading(7_200_000, 30.0, "N", None, 0), "clock"),
    ],
)
def test_it_says_what_broke_the_span(breaking: Reading, why: str) -> None:
    """A running span that ends says why, and how long it had lasted."""
    hold = LiveHold(spec(), U, None)
    hold.feed(readings(30.0, 30.0, 30.0))
    broken = next(fact for fact in hold.feed([breaking]) if isinstance(fact, Broken))
    assert (broken.why, broken.held_us, broken.at_us) == (why, 200_000, breaking.at_us)


@pytest.mark.parametrize("force", [28.5, 30.0, 44.5])
def test_a_value_that_stands_breaks_the_span_and_is_named(force: float) -> None:
    """Under a still limit a reading that does not move ends the span, also on a limit, which is inside."""
    hold = LiveHold(spec(still_limit_us=300_000), U, None)
    hold.feed(readings(force, force))
    facts = hold.feed(readings(force, force, force, start_us=7_200_000))
    assert [fact.why for fact in facts if isinstance(fact, Broken)] == ["still"]


FORCES = st.sampled_from([0.0, 0.05, 27.9, 28.4, 28.5, 30.0, 30.0, 30.0, 30.1, 44.5, 44.6, 61.0])


@settings(max_examples=300)
@given(st.lists(FORCES, min_size=1, max_size=60), st.booleans(), st.data())
def test_the_live_verdict_is_that_of_the_stored_trace(forces: list[float], zero: bool, data: st.DataObject) -> None:
    """However the readings come, the closed trace judged whole gives the verdict that fell live, and the same trace."""
    what = spec(zero_limit_mn=100) if zero else spec()
    whole = readings(*forces)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(whole)), max_size=5)))
    chunked, at_once = LiveHold(what, U, 50_000), LiveHold(what, U, 50_000)
    facts: list[HoldFact] = []
    for start, end in zip([0, *cuts], [*cuts, len(whole)], strict=True):
        facts += chunked.feed(whole[start:end])
    at_once.feed(whole)
    one, other = chunked.close(0), at_once.close(0)
    assert one.judgement == other.judgement == judge(one.trace, what, U, 50_000)
    assert one.trace == other.trace
    for kind in (Completed, Closed):
        assert sum(isinstance(fact, kind) for fact in facts) <= 1
    if one.judgement.verdict == "held":
        assert any(isinstance(fact, InBand) for fact in facts)
    assert not zero or one.judgement.verdict != "held" or any(isinstance(fact, ZeroSeen) for fact in facts)
