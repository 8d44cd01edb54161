from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.bench.snapshot import LengthNumber, Words
from station.units import length_text, stacked_length
from station.views.spoken import length_said, number_words, spoken, worth_saying
from tests.station.views.gallery import GALLERY
from tests.station.views.parts import INCH, length

WORDS = {1: "one", 3: "three", 5: "five", 7: "seven", 9: "nine", 11: "eleven", 13: "thirteen", 15: "fifteen"}


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("3/16 in", "three sixteenths"),
        ("1/16 in", "one sixteenth"),
        ("Leave 5/16 in long, then trap", "Leave five sixteenths long, then trap"),
        ("1/2 in", "one half"),
        ("3/4 in", "three quarters"),
        ("7 1/2 in", "seven and a half inches"),
        ("146 1/8 in", "one hundred and forty-six and one eighth inches"),
        ("1 in, 42 stitches", "one inch, 42 stitches"),
        ("10 ft 2 in", "ten feet two inches"),
        ("-1/8 in", "minus one eighth"),
        ("−3 in", "minus three inches"),
        ("under 1/16 in", "under one sixteenth"),
        ("Pull to 30 pounds", "Pull to 30 pounds"),
        ("pull 10.1 lbf: right", "pull 10.1 pounds: right"),
        ("±0.20 lbf", "plus or minus 0.20 pounds"),
        ("133.4 N", "133.4 newtons"),
        ("Pull 1 pound more: you fall below in 9 s", "Pull 1 pound more: you fall below in 9 seconds"),
        ("1 s to go", "1 second to go"),
        ("8 mm", "8 millimetres"),
        ("Sew B into A: bar tack, 1 in, 42 stitches", "Sew B into A: bar tack, one inch, 42 stitches"),
        ("step 3 of 41", "step 3 of 41"),
        ("A 3 left, 17 of 48", "A 3 left, 17 of 48"),
        ("--", "no reading"),
    ],
)
def test_what_is_written_is_said_as_a_rigger_says_it(written: str, said: str) -> None:
    """Fractions, inches, feet, pounds, seconds and signs are said in full words; names and counts stay as they are."""
    assert spoken(written) == said


@given(st.integers(-4800, 4800))
def test_a_length_is_said_alike_wherever_it_stands(sixteenths: int) -> None:
    """The large length and the same length in a sentence are said in the same words, with no sign left over."""
    length_m = sixteenths / 16 * INCH
    said = spoken(length_text(length_m))
    assert said == length_said(LengthNumber(stacked_length(length_m), None))
    assert not set("/-−±") & set(said.replace("-", "", said.count("y-")))


@given(st.integers(0, 999))
def test_a_number_in_words_adds_up(number: int) -> None:
    """The words of a number, counted up again, give the number."""
    values = {number_words(each): each for each in [*range(20), *range(20, 100, 10)]}
    total = 0
    for word in number_words(number).replace("-", " ").split():
        total = total * 100 if word == "hundred" else total + values.get(word, 0)
    assert total == number


def test_a_sentence_that_counts_is_said_once() -> None:
    """Seconds and pounds that count on in the same sentence are not said again; other words are."""
    now = GALLERY["pre_stretch"]()
    assert worth_saying(None, now) == "Pre-stretch, 12 seconds to go"
    assert worth_saying(now, replace(now, sentence=Words("Pre-stretch, 11 s to go"))) == ""
    more = replace(now, sentence=Words("Pull 1 pound more: you fall below in 9 s"))
    assert worth_saying(now, more) == "Pull 1 pound more: you fall below in 9 seconds"
    assert worth_saying(more, replace(more, sentence=Words("Pull 2 pounds more: you fall below in 8 s"))) == ""
    line = replace(now, sentence=Words("Pull A 3 to 30 pounds"))
    assert worth_saying(line, replace(line, sentence=Words("Pull A 4 to 30 pounds"))) == "Pull A 4 to 30 pounds"


def test_a_length_is_said_with_its_direction_whenever_it_changes() -> None:
    """A new step says its length and direction; a tap that counts a sixteenth says the length alone."""
    marking = GALLERY["marking"]()
    assert worth_saying(None, marking) == "Mark where B enters. five sixteenths. toward the canopy"
    assert worth_saying(marking, marking) == ""
    longer = replace(marking, number=length(3 / 8 * INCH))
    assert worth_saying(marking, longer) == "three eighths, toward the canopy"
    named = replace(marking, sentence=Words("Leave 5/16 in long, toward the canopy, then trap"))
    assert worth_saying(None, named) == "Leave five sixteenths long, toward the canopy, then trap"


def test_every_moment_can_be_said() -> None:
    """Whatever the bench shows is said without signs a voice would stumble over."""
    for maker in GALLERY.values():
        said = worth_saying(None, maker())
        assert said
        assert not set("/±−≥≤×·") & set(said), said
