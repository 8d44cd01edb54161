from __future__ import annotations

import pytest

from drivers.foot_watch import LineMoved, PedalSaid
from station.bench.foot_finding import ContactFoot, FootFinder, TextFoot

S = 1_000_000


def told(*events: LineMoved | PedalSaid) -> FootFinder:
    """Give a finder that was told of events, with time passing between them and after the last."""
    foot = FootFinder()
    for event in events:
        foot.tick(event.at_us)
        foot.take(event)
    foot.tick(events[-1].at_us + S)
    return foot


def press(line: str, at_us: int, *others: str) -> list[LineMoved]:
    """Give a press of half a second that moves these lines together."""
    lines = (line, *others)
    down = [LineMoved(at_us + number, each, True) for number, each in enumerate(lines)]  # type: ignore[arg-type]
    return down + [LineMoved(at_us + 400_000, each, False) for each in lines]  # type: ignore[arg-type]


@pytest.mark.parametrize(("line", "pin"), [("cts", 8), ("dsr", 6), ("dcd", 1), ("ri", 9)])  # TIA-574, from memory
def test_one_line_that_comes_and_goes_is_the_foots(line: str, pin: int) -> None:
    """A press and a release on one line settle it, bounce or not."""
    bounce = [LineMoved(at_us, line, on) for at_us, on in ((0, True), (5_000, False), (10_000, True))]  # type: ignore[arg-type]
    assert told(*press(line, 0)).found == ContactFoot(line)  # type: ignore[arg-type]
    held = told(*bounce)
    assert (held.found, held.words) == (None, f"Pin {pin} ({line.upper()}) moved. Let the footswitch go.")
    assert told(*bounce, LineMoved(2 * S, line, False)).found == ContactFoot(line)  # type: ignore[arg-type]


def test_a_line_that_only_moved_once_is_no_foot() -> None:
    """Another device that is switched on meanwhile moves its line once, and is passed over."""
    assert told(LineMoved(0, "dsr", True), *press("cts", 100_000)).found == ContactFoot("cts")


def test_a_foot_that_was_down_at_first_is_found() -> None:
    """Where the first that is seen is the foot coming off, the press after a rest of three seconds is found."""
    lifted = LineMoved(0, "cts", False)
    assert told(lifted, *press("cts", 4 * S)).found == ContactFoot("cts")
    pressed = [LineMoved(S, "cts", True), LineMoved(2 * S, "cts", False)]
    hasty = told(lifted, *pressed)
    assert (hasty.found, hasty.words) == (None, "Pin 8 (CTS) moved. Let the footswitch go.")
    for event in press("cts", 6 * S):
        hasty.tick(event.at_us)
        hasty.take(event)
    hasty.tick(8 * S)
    assert hasty.found == ContactFoot("cts")


def test_a_switch_that_opens_is_refused_however_often_it_is_pressed() -> None:
    """A contact that goes off while the foot is down, and on after it, is not taken for one that closes."""
    presses = [LineMoved(at_s * S, "cts", on) for at_s, on in ((0, False), (1, True), (5, False), (6, True))]
    found = told(*presses)
    assert found.found is None
    assert "use its other contact" in found.words


def test_several_lines_are_asked_for_again() -> None:
    """Where several lines moved, they are named; what moves again is used, and both where both do."""
    first = told(*press("cts", 0, "ri"))
    assert first.found is None
    assert first.words == "Pins 8 (CTS) and 9 (RI) moved. Press once more, and touch nothing but the footswitch."
    assert told(*press("cts", 0, "ri"), *press("ri", 3 * S)).found == ContactFoot("ri")
    assert told(*press("cts", 0, "ri"), *press("cts", 3 * S, "dcd")).found == ContactFoot("cts")
    wired = told(*press("dcd", 0, "dsr"), *press("dsr", 3 * S, "dcd"))
    assert wired.found == ContactFoot("dsr")
    assert wired.words == "Pins 6 (DSR) and 1 (DCD) moved both times: they are wired together, and pin 6 (DSR) is used."


def test_a_contact_that_opens_is_not_used() -> None:
    """A line that goes off when the foot comes down would read as a foot that is always down."""
    foot = told(LineMoved(0, "cts", False), LineMoved(S // 2, "cts", True))
    assert foot.found is None
    assert "use its other contact" in foot.words


@pytest.mark.parametrize(
    ("down", "up"), [(b"D", b"U"), (b"DOWN\r\n", b"UP\r\n"), (b"press", b"rest"), (b"\x01", b"\x00")]
)
def test_a_pedal_that_sends_two_words_is_found(down: bytes, up: bytes) -> None:
    """Single bytes, lines and bare words are told apart, repeats and halves of a read among them."""
    once = [PedalSaid(0, down[:1]), PedalSaid(900, down[1:]), PedalSaid(400_000, up)]
    again = [PedalSaid(200_000, down), *once[2:]]
    for said in (once, [*once[:2], *again]):
        found = told(*said).found
        assert found == TextFoot(down.rstrip(b"\r\n"), up.rstrip(b"\r\n"))


def test_a_pedal_that_is_still_down_is_not_settled() -> None:
    """One word alone asks for the release; words that begin and end with the same one ask for another press."""
    assert told(PedalSaid(0, b"D")).words.startswith("It sends 'D'. Let the footswitch go;")
    confused = told(PedalSaid(0, b"D"), PedalSaid(100_000, b"U"), PedalSaid(200_000, b"D"))
    assert confused.found is None
    assert "press it once more" in confused.words


def test_a_scale_is_no_footswitch() -> None:
    """Many different words, and two of which one holds the other, are refused in words."""
    scale = told(*[PedalSaid(number * S // 10, b"%5.1f lb\r\n" % number) for number in range(4)])
    assert scale.found is None
    assert "expected one word with the foot down" in scale.words
    within = told(PedalSaid(0, b"on\n"), PedalSaid(S // 2, b"gone\n"))
    assert (within.found, "cannot be told apart" in within.words) == (None, True)
