from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from station.measuring.hold import (
    RULE_VERSION,
    HoldState,
    ScaleUncertainty,
    acceptance_limits,
    answer,
    begin,
    conclude,
    judge,
    step,
    typed_uncertainty,
)
from station.measuring.trace import STATUSES, UNITS, Trace
from station.settings.hold import HoldSpecification, SpecificationFault

sys.path.insert(0, str(Path(__file__).parent))
from random_traces import Rows, columns, disagreement, random_rows, random_rule

LOW, HIGH, CEILING = 28_000, 45_000, 60_000
SPEC = HoldSpecification("test", 30_000, LOW, HIGH, CEILING, 1_000_000)
U = typed_uncertainty(500)


def trace(*rows: tuple[int, int | str] | tuple[int, int | str, str]) -> Trace:
    """Make a trace of (stamp in ms, tension in mN or a status word, unit) rows."""
    words = [row[1] if isinstance(row[1], str) else None for row in rows]
    return Trace(
        np.array([row[0] * 1000 for row in rows], np.int64),
        np.array([0 if isinstance(row[1], str) else row[1] for row in rows], np.int64),
        np.array([STATUSES.index(word) for word in words], np.int8),
        np.array([UNITS.index(row[2] if len(row) > 2 else "lbf") for row in rows], np.int8),
    )


def steady(tension: int, start: int = 0, end: int = 1000, every: int = 100) -> list[tuple[int, int]]:
    """Give rows of one tension, from start to end in ms."""
    return [(at, tension) for at in range(start, end + 1, every)]


def verdict(
    *rows: tuple[int, int | str] | tuple[int, int | str, str], spec: HoldSpecification = SPEC
) -> tuple[str, ...]:
    """Judge rows with U = 0.5 N and give the verdict, then its reasons."""
    judged = judge(trace(*rows), spec, U)
    return (judged.verdict, *judged.reasons)


def test_records_name_this_rule_as_the_first() -> None:
    """Holds on file were judged by rule 1; what the tests below say may only change together with that number."""
    assert RULE_VERSION == 1


def test_held_at_exactly_the_duration() -> None:
    """A span whose length is the duration to the microsecond is held, and one a microsecond short is not."""
    assert verdict(*steady(30_000)) == ("held",)
    short = trace(*steady(30_000))
    short.at_us[-1] -= 1
    assert judge(short, SPEC, U).reasons == ("short",)


@pytest.mark.parametrize("tension", [LOW + 500, HIGH - 500])
def test_acceptance_limits_are_inclusive(tension: int) -> None:
    """Readings exactly on an acceptance limit are inside it; one millinewton beyond they are in doubt."""
    outward = -1 if tension < 35_000 else 1
    assert verdict(*steady(tension)) == ("held",)
    assert verdict(*steady(tension + outward)) == ("unproven", "in-doubt")


@pytest.mark.parametrize("tension", [LOW, HIGH])
def test_tolerance_limits_are_inclusive(tension: int) -> None:
    """Readings exactly on a tolerance limit are inside it; one millinewton beyond there is nothing in band."""
    outward = -1 if tension == LOW else 1
    assert verdict(*steady(tension)) == ("unproven", "in-doubt")
    assert verdict(*steady(tension + outward)) == ("not-held", "never-in-band")


def test_a_gap_of_max_gap_is_watching_and_one_beyond_is_not() -> None:
    """A gap of exactly max_gap keeps the span; a microsecond more starts a new one."""
    rows = [*steady(30_000, 0, 500), *steady(30_000, 750, 1250)]
    assert verdict(*rows) == ("held",)
    wider = trace(*rows)
    wider.at_us[6:] += 1
    assert judge(wider, SPEC, U).reasons == ("short",)


def test_two_readings_a_microsecond_apart_are_one_span() -> None:
    """The smallest step of a clock that goes on breaks no span, judged at once or reading by reading."""
    rows = trace(*steady(30_000))
    rows.at_us[5] = rows.at_us[4] + 1
    state = begin(SPEC, U)
    for row in range(len(rows)):
        state = step(state, rows[row : row + 1])
    assert conclude(state).verdict == judge(rows, SPEC, U).verdict == "held"


def test_length_never_runs_from_the_moment_before() -> None:
    """The time between the last reading below and the first inside does not count."""
    assert verdict((0, 0), *steady(30_000, 100, 1000), (1100, 0)) == ("not-held", "short")


def test_a_dip_of_one_reading_breaks_the_span() -> None:
    """One reading below the band in the middle leaves two short spans, and the earliest of equals is described."""
    rows = [*steady(30_000, 0, 500), (600, LOW - 1), *steady(30_000, 700, 1200)]
    judged = judge(trace(*rows), SPEC, U)
    assert (judged.verdict, judged.reasons) == ("not-held", ("short",))
    assert judged.facts()["span_us"] == [0, 500_000]


def test_fault_rows_break_and_do_not_void() -> None:
    """A reading that the scale calls a fault carries no tension: the span breaks, a later full span is still held."""
    assert verdict(*steady(30_000, 0, 500), (600, "fault"), *steady(30_000, 700, 1200)) == ("not-held", "short")
    assert verdict((0, "fault"), *steady(30_000, 100, 1100)) == ("held",)


def test_void_gives_every_reason_in_order() -> None:
    """An overload, a pull over the ceiling, another unit and a stamp going back void the hold, all of them named."""
    rows = [*steady(30_000), (1100, "overload"), (1200, CEILING + 1), (1300, 100, "N"), (1300, 100, "N")]
    assert verdict(*rows) == ("void", "clock", "overload", "over-ceiling", "unit-changed")


def test_a_reading_that_names_no_unit_changes_none() -> None:
    """A scale that says overload without its unit has not changed units, judged at once or reading by reading."""
    rows = trace(*steady(30_000), (1100, "overload"))
    rows.unit[-1] = UNITS.index(None)
    assert judge(rows, SPEC, U).reasons == ("overload",)
    state = begin(SPEC, U)
    for row in range(len(rows)):
        state = step(state, rows[row : row + 1])
    assert conclude(state).reasons == ("overload",)


def test_ceiling_itself_is_allowed_and_knows_no_guard() -> None:
    """A tension on the ceiling is not above it, whatever the scale's uncertainty."""
    assert verdict(*steady(30_000), (1100, CEILING)) == ("held",)
    assert verdict(*steady(30_000), (1100, CEILING + 1)) == ("void", "over-ceiling")


def test_zero_must_be_seen_before_and_after_where_a_limit_is_set() -> None:
    """With a zero limit a hold without zeros around it is void, each side named; without a deciding span neither is."""
    spec = HoldSpecification("zero", 30_000, LOW, HIGH, CEILING, 1_000_000, zero_limit_mn=100)
    held = steady(30_000, 100, 1100)
    assert verdict((0, 100), *held, (1200, -100), spec=spec) == ("held",)
    assert verdict((0, 101), *held, (1200, 0), spec=spec) == ("void", "zero-not-seen-before")
    assert verdict((0, 0), *held, (1200, 101), spec=spec) == ("void", "zero-not-seen-after")
    assert verdict(*held, spec=spec) == ("void", "zero-not-seen-before", "zero-not-seen-after")
    assert verdict(*steady(30_000, 0, 900), spec=spec) == ("not-held", "short")


def test_a_value_that_stands_too_long_restarts_the_span() -> None:
    """With a still limit, every reading past it starts a new span; a fault row lets the value begin afresh."""
    spec = HoldSpecification("still", 30_000, LOW, HIGH, CEILING, 1_000_000, still_limit_us=500_000)
    assert verdict(*steady(30_000, 0, 2000), spec=spec) == ("not-held", "short")
    moving = [(at, 30_000 + (at // 500) % 2) for at in range(0, 2001, 100)]
    assert verdict(*moving, spec=spec) == ("held",)


def test_unknown_uncertainty_and_crossed_limits_prove_nothing() -> None:
    """A full span with U unknown asks for a scale check; with limits crossed it asks for a finer scale."""
    rows = trace(*steady(30_000))
    assert judge(rows, SPEC, None).reasons == ("no-scale-check",)
    assert judge(rows, SPEC, typed_uncertainty(8_501)).reasons == ("scale-too-coarse",)
    middle = trace(*steady(36_500))
    assert judge(middle, SPEC, typed_uncertainty(8_500)).verdict == "held"


def test_plain_decision_ignores_the_guard() -> None:
    """Decided plainly, the tolerance limits themselves accept, and the guard is zero."""
    plain = HoldSpecification("plain", 30_000, LOW, HIGH, CEILING, 1_000_000, guarded=False)
    judged = judge(trace(*steady(LOW)), plain, None)
    assert (judged.verdict, judged.guard_mn, judged.conformance) == ("held", 0, None)


def test_a_program_fault_voids_even_a_full_hold() -> None:
    """When the program failed while judging, the verdict is void whatever was read."""
    judged = judge(trace(*steady(30_000)), SPEC, U, program_fault=True)
    assert (judged.verdict, judged.reasons) == ("void", ("program-fault",))


def test_nothing_read_is_not_held() -> None:
    """A trace without readings is not held and has no figures."""
    judged = judge(Trace.empty(), SPEC, U)
    assert (judged.verdict, judged.reasons, judged.facts()["span_us"]) == ("not-held", ("never-in-band",), None)


def test_blind_time_is_the_spans_largest_gap_and_the_response() -> None:
    """A dip must outlast the largest gap of the span and the response to be seen; unknown without a response."""
    rows = trace((0, 30_000), (200, 30_000), (300, 30_000), (500, 31_000), (700, 31_000), (900, 30_000), (1000, 30_000))
    assert judge(rows, SPEC, U, response_us=50_000).blind_to_us == 250_000
    assert judge(rows, SPEC, U).blind_to_us is None


def test_answer_speaks_si() -> None:
    """The answer's keys are those of the contract, in newtons and seconds."""
    facts = judge(trace(*steady(30_000)), SPEC, U, 100_000).facts()
    shown = answer(facts)
    assert shown["held_s"] == 1.0
    assert shown["span"] == [0.0, 1.0]
    assert (shown["min_n"], shown["mean_n"], shown["max_n"], shown["guard_n"]) == (30.0, 30.0, 30.0, 0.5)
    assert shown["blind_to_s"] == pytest.approx(0.2)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"low_mn": 45_000}, "low"),
        ({"target_mn": 50_000}, "target"),
        ({"ceiling_mn": 45_000}, "ceiling"),
        ({"duration_us": 0}, "duration"),
        ({"duration_us": -1}, "duration"),
        ({"max_gap_us": 1_000_001}, "max_gap"),
        ({"zero_limit_mn": 28_000}, "zero_limit"),
        ({"still_limit_us": 0}, "still_limit"),
        ({"low_mn": 0}, "low"),
    ],
)
def test_contradicting_figures_are_refused(change: dict[str, int], words: str) -> None:
    """A specification whose figures contradict each other is refused, and the figure is named."""
    figures = {
        "name": "bad",
        "target_mn": 30_000,
        "low_mn": LOW,
        "high_mn": HIGH,
        "ceiling_mn": CEILING,
        "duration_us": 1_000_000,
    }
    with pytest.raises(SpecificationFault, match=words):
        HoldSpecification(**(figures | change))  # type: ignore[arg-type]  # the names are checked by the call itself


def test_capacity_must_reach_the_ceiling() -> None:
    """A ceiling that the scale cannot read is refused with both figures."""
    SPEC.check_capacity(CEILING)
    with pytest.raises(SpecificationFault, match="capacity"):
        SPEC.check_capacity(CEILING - 1)


# ------------------------------------------------------------------ random traces against the slow rule


def cases(count: int, seed: int) -> Iterator[tuple[Rows, HoldSpecification, ScaleUncertainty | None]]:
    """Give random traces with rules to judge them by."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    for _ in range(count):
        yield (random_rows(chance), *random_rule(chance))


def test_agrees_with_the_slow_rule() -> None:
    """On 4 000 random traces that meet gaps, limits and durations exactly, the program and the slow rule agree."""
    verdicts, reasons = Counter(), Counter()
    for rows, spec, scale in cases(4_000, 1):
        assert disagreement(rows, spec, scale) is None, (rows, spec, scale)
        judged = judge(columns(rows), spec, scale)
        verdicts[judged.verdict] += 1
        reasons.update(judged.reasons)
    assert min(verdicts[each] for each in ("held", "unproven", "not-held", "void")) > 100
    assert len(reasons) == 11  # every reason but the program's own fault


def test_any_chunking_gives_the_same_state() -> None:
    """However the readings are cut into chunks, single readings included, what is left behind is the same."""
    chance = random.Random(2)  # noqa: S311 -- repeatable, no secret
    for rows, spec, scale in cases(1_500, 3):
        whole = columns(rows)
        cuts = sorted(chance.randint(0, len(whole)) for _ in range(chance.randrange(7)))
        one_by_one = chunked = begin(spec, scale)
        for row in range(len(whole)):
            one_by_one = step(one_by_one, whole[row : row + 1])
        for start, end in zip([0, *cuts], [*cuts, len(whole)], strict=True):
            chunked = step(chunked, whole[start:end])
        assert conclude(one_by_one, 50_000) == conclude(chunked, 50_000) == judge(whole, spec, scale, 50_000)
        assert running(one_by_one) == running(chunked)


def running(state: HoldState) -> tuple[object, ...]:
    """Give what is still running in a state."""
    return (state.tolerance.running, state.acceptance.running if state.acceptance else None, state.rows, state.last_us)


def test_what_is_held_was_watched_and_inside_throughout() -> None:
    """No gap or dip beyond the rule ever passes as held."""
    held = 0
    for rows, spec, scale in cases(3_000, 4):
        trace = columns(rows)
        judged = judge(trace, spec, scale)
        if judged.verdict != "held":
            continue
        held += 1
        limits, span = acceptance_limits(spec, scale), judged.figures
        assert limits is not None
        assert span is not None
        rows_in = slice(span.start_row, span.end_row + 1)
        assert trace.has_tension[rows_in].all()
        assert (trace.tension_mn[rows_in] >= limits[0]).all()
        assert (trace.tension_mn[rows_in] <= limits[1]).all()
        assert (np.diff(trace.at_us[rows_in]) <= spec.max_gap_us).all()
        assert trace.at_us[span.end_row] - trace.at_us[span.start_row] >= spec.duration_us
    assert held > 100


def test_a_typed_uncertainty_knows_no_error() -> None:
    """An expanded uncertainty that was typed is twice the standard one, and says nothing of a mean error."""
    assert typed_uncertainty(890).facts() == {"expanded_mn": 890, "standard_un": 445_000, "error_un": 0}


def test_facts_come_back_from_a_record() -> None:
    """A specification and an uncertainty come back from their facts as they were."""
    assert HoldSpecification.of_facts(SPEC.facts()) == SPEC
    assert ScaleUncertainty.of_facts(U.facts()) == U
