"""What the foot did, from edges and bytes."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.events import PedalEdge, Tick
from drivers.pedal import LongPress, LongReached, Pedal, PedalEvent, PedalText, Released, Stuck, Tap


def did(*edges_ms: tuple[float, bool], then_ms: float = 0) -> list[PedalEvent]:
    """Feed edges to a new pedal and let time pass until `then_ms`; give all it tells."""
    pedal = Pedal()
    events = [event for at_ms, down in edges_ms for event in pedal.feed(PedalEdge(round(at_ms * 1000), down))]
    return events + pedal.feed(Tick(round(then_ms * 1000)))


def test_a_tap_counts_once_at_its_release() -> None:
    """A clean press and release is one tap, at the release."""
    assert did((0, True), (150, False), then_ms=5000) == [Tap(150_000)]


def test_bounce_at_both_ends_is_one_tap() -> None:
    """A contact that chatters for milliseconds when it closes and when it opens is one tap, at its first opening."""
    press = [(at, at % 2 == 0) for at in range(9)]
    release = [(200 + at, at % 2 == 1) for at in range(9)]
    assert did(*press, *release, then_ms=5000) == [Tap(200_000)]


def test_a_press_shorter_than_the_lockout_is_a_tap() -> None:
    """A foot quicker than the lockout is seen when the lockout ends, and the tap is stamped then."""
    assert did((0, True), (12, False), then_ms=29.999) == []
    assert did((0, True), (12, False), then_ms=30) == [Tap(30_000)]


def test_a_second_press_within_the_lockout_of_a_release() -> None:
    """A press that begins while the release is locked out counts from the end of the lockout on."""
    assert did((0, True), (100, False), (110, True), (300, False), then_ms=400) == [Tap(100_000), Tap(300_000)]


def test_a_long_press_is_told_when_it_becomes_long_and_at_release() -> None:
    """A second into a press it is long, and at the release it was a long press, and no tap."""
    assert did((0, True), then_ms=999.999) == []
    assert did((0, True), then_ms=1000) == [LongReached(1_000_000)]
    assert did((0, True), (1000, False), then_ms=1000) == [LongReached(1_000_000), LongPress(1_000_000)]
    assert did((0, True), (999.999, False), then_ms=9000) == [Tap(999_999)]


def test_a_pedal_that_stays_down_is_stuck() -> None:
    """After ten seconds the pedal is stuck, and its release is only a release."""
    assert did((0, True), (60_000, False), (61_000, True), (61_100, False), then_ms=70_000) == [
        LongReached(1_000_000),
        Stuck(10_000_000),
        Released(60_000_000),
        Tap(61_100_000),
    ]


def test_a_press_cut_by_the_loss_of_the_link_never_counts() -> None:
    """A press that had begun when the link went is forgotten, whenever its release comes."""
    pedal = Pedal()
    pedal.feed(PedalEdge(0, True))
    pedal.link_lost()
    assert pedal.feed(Tick(20_000_000)) == []
    assert pedal.feed(PedalEdge(20_100_000, False)) == []
    assert pedal.feed(PedalEdge(20_200_000, True)) + pedal.feed(PedalEdge(20_300_000, False)) == [Tap(20_300_000)]


def test_a_press_begun_while_the_link_was_away_never_counts() -> None:
    """A release without a press before it is no press."""
    assert did((0, False), (500, False), then_ms=5000) == []


def test_a_pedal_that_is_down_when_the_link_comes_is_stuck_after_a_while() -> None:
    """A pedal down from the start is told as stuck ten seconds on, and as free; the next press counts."""
    pedal = Pedal()
    pedal.link_up(1_000_000, down=True)
    assert pedal.feed(Tick(10_999_999)) == []
    assert pedal.feed(Tick(11_000_000)) == [Stuck(11_000_000)]
    assert pedal.feed(PedalEdge(12_000_000, False)) == [Released(12_000_000)]
    assert pedal.feed(PedalEdge(13_000_000, True)) + pedal.feed(PedalEdge(13_100_000, False)) == [Tap(13_100_000)]


@pytest.mark.parametrize("held_us", [200_000, 3_000_000])
def test_a_press_under_way_when_the_link_comes_never_counts(held_us: int) -> None:
    """A press that began before the link was up is told neither as becoming long nor at its release."""
    pedal = Pedal()
    pedal.link_up(0, down=True)
    assert pedal.feed(Tick(held_us - 1)) + pedal.feed(PedalEdge(held_us, False)) == []


edges = st.lists(st.tuples(st.integers(0, 400), st.booleans()), max_size=14)


@given(edges, st.lists(st.integers(0, 4000), max_size=12))
def test_ticks_change_nothing(steps: list[tuple[int, bool]], ticks: list[int]) -> None:
    """Time may be told as often or as seldom as one likes: the same things are told, with the same stamps."""
    at = list(itertools.accumulate(step for step, _ in steps))
    press = [PedalEdge(at_ms * 1000, down) for at_ms, (_, down) in zip(at, steps, strict=True)]
    ticked = sorted([*press, *(Tick(at_ms * 1000) for at_ms in ticks)], key=lambda event: event.at_us)
    pedals = Pedal(long_us=300_000, stuck_us=900_000), Pedal(long_us=300_000, stuck_us=900_000)
    plain, often = (
        [told for event in [*events, Tick(10_000_000)] for told in pedal.feed(event)]
        for pedal, events in zip(pedals, (press, ticked), strict=True)
    )
    assert plain == often


@given(edges)
def test_a_pedal_watched_every_millisecond_agrees(steps: list[tuple[int, bool]]) -> None:
    """A second pedal, written as a look at the contact in every millisecond, tells the same."""
    at = list(itertools.accumulate(step for step, _ in steps))
    end_ms = (at[-1] if at else 0) + 1500
    pedal = Pedal(long_us=300_000, stuck_us=900_000)
    told = [e for at_ms, (_, down) in zip(at, steps, strict=True) for e in pedal.feed(PedalEdge(at_ms * 1000, down))]
    told += pedal.feed(Tick(end_ms * 1000))
    assert told == watched([(at_ms, down) for at_ms, (_, down) in zip(at, steps, strict=True)], end_ms)


def watched(edges_ms: list[tuple[int, bool]], end_ms: int) -> list[PedalEvent]:
    """Look at the contact in each millisecond, and count how long it has been down and how long bounce is ignored."""
    told: list[PedalEvent] = []
    contact = down = False
    down_ms = deaf_ms = 0

    def turn(at_ms: int) -> None:
        nonlocal down, down_ms, deaf_ms
        if contact != down and deaf_ms == 0:
            if down:
                last = told[-1] if told and told[-1].at_us >= (at_ms - down_ms) * 1000 and down_ms >= 300 else None
                kind = {LongReached: LongPress, Stuck: Released}.get(type(last), Tap)
                told.append(kind(at_ms * 1000))
            down, down_ms, deaf_ms = contact, 0, 30

    for at_ms in range(end_ms + 1):
        if at_ms:
            down_ms += down
            deaf_ms = max(0, deaf_ms - 1)
        if down and down_ms in {300, 900}:
            told.append((LongReached if down_ms == 300 else Stuck)(at_ms * 1000))
        turn(at_ms)
        for _, contact in (edge for edge in edges_ms if edge[0] == at_ms):  # noqa: B007 - `turn` looks at it
            turn(at_ms)
    return told


@pytest.mark.parametrize("times_us", [(30_000, 20_000, 40_000), (1, 2, 2), (-1, 5, 6)])
def test_times_that_contradict_are_refused(times_us: tuple[int, int, int]) -> None:
    """Lockout, long press and stuck pedal must each be longer than the one before."""
    with pytest.raises(ValueError, match="expected each to be longer"):
        Pedal(*times_us)


@pytest.mark.parametrize("words", [(b"", b"U"), (b"D", b""), (b"D", b"D"), (b"D", b"DU"), (b"DOWN", b"OW")])
def test_words_that_cannot_be_told_apart_are_refused(words: tuple[bytes, bytes]) -> None:
    """The texts for down and up must be there, and neither within the other."""
    with pytest.raises(ValueError, match="expected two texts"):
        PedalText(*words)


@given(st.lists(st.sampled_from([b"down\n", b"up\n", b"do", b"wn", b"\n", b"u", b"?", b"\xff"]), max_size=30))
def test_any_chunking_of_a_text_pedal(pieces: list[bytes]) -> None:
    """However the bytes of a text pedal are cut, the same levels come out, and each differs from the one before."""
    whole, cut, bytewise = (PedalText(b"down\n", b"up\n") for _ in range(3))
    levels = whole.feed(b"".join(pieces))
    assert [level for piece in pieces for level in cut.feed(piece)] == levels
    assert [level for byte in b"".join(pieces) for level in bytewise.feed(bytes([byte]))] == levels
    assert all(one != other for one, other in itertools.pairwise(levels))


def test_after_a_break_the_text_pedal_may_say_anything() -> None:
    """After the link was away, half a word is forgotten, and a word counts though it was the last before."""
    pedal = PedalText(b"down", b"up")
    assert pedal.feed(b"down do") == [True]
    pedal.rejoin()
    assert pedal.feed(b"wn down") == [True]
