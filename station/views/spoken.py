"""What is spoken, in the words a rigger would say aloud; and when, so that a voice helps and never chatters.

- A length is said as it is said at the bench: sixteenths and eighths without a unit, halves and quarters by name, whole
  inches with one.
- Units and signs are said in full.
- A sentence is said when its words change. Figures that count on in the same sentence are not said again and again;
  a length is, whenever it changes.

>>> spoken("Leave 5/16 in long, then trap"), spoken("Pre-stretch, 12 s to go")
('Leave five sixteenths long, then trap', 'Pre-stretch, 12 seconds to go')
>>> spoken("marks at 5 3/16 in and 1 in"), spoken("within ±0.7 lbf")
('marks at five and three sixteenths inches and one inch', 'within plus or minus 0.7 pounds')
"""

from __future__ import annotations

import re

from station.bench.snapshot import LengthNumber, Snapshot

_ONES = (
    *("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"),
    *("thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"),
)
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_PARTS = {
    2: ("half", "halves"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
    32: ("thirty-second", "thirty-seconds"),
    64: ("sixty-fourth", "sixty-fourths"),
}
_UNITS = {
    "in": ("inch", "inches"),
    "ft": ("foot", "feet"),
    "mm": ("millimetre", "millimetres"),
    "cm": ("centimetre", "centimetres"),
    "m": ("metre", "metres"),
    "lbf": ("pound", "pounds"),
    "lb": ("pound", "pounds"),
    "N": ("newton", "newtons"),
    "kgf": ("kilogram", "kilograms"),
    "kg": ("kilogram", "kilograms"),
    "s": ("second", "seconds"),
    "min": ("minute", "minutes"),
    "Hz": ("hertz", "hertz"),
}
# "in" before a figure may be the word: "you fall below 28 in 9 s".
_LENGTH = re.compile(r"(?<![\w./])(?:(?P<whole>\d+) )?(?P<over>\d+)/(?P<under>2|4|8|16|32|64)\b(?! ?/)(?P<inch> in\b)?")
_MEASURE = re.compile(
    rf"(?<![\w./])(?P<figure>\d+(?:\.\d+)?) (?P<unit>{'|'.join(sorted(_UNITS, key=len, reverse=True))})\b(?! \d+ s\b)"
)
_SIGNS = (
    ("±", " plus or minus "),
    ("≥", " at least "),
    ("≤", " at most "),
    ("×", " times "),
    ("%", " percent"),
    ("°C", " degrees"),
    ("·", ", "),
    ("--", "no reading"),
    ("’", "'"),
)
_MINUS = re.compile(r"(?<!\w)[-−](?=\d)")
_COUNTING = re.compile(r"\d+(?:\.\d+)? (?:s|pounds?|newtons?|kilograms?|lbf|N|kgf)\b")


def number_words(number: int) -> str:
    """Say a whole number below a thousand; a larger one keeps its figures.

    >>> number_words(7), number_words(42), number_words(146), number_words(1200)
    ('seven', 'forty-two', 'one hundred and forty-six', '1200')
    """
    if number < 20:
        return _ONES[number]
    if number < 100:
        tens, ones = divmod(number, 10)
        return _TENS[tens] + (f"-{_ONES[ones]}" if ones else "")
    if number < 1000:
        hundreds, rest = divmod(number, 100)
        return f"{_ONES[hundreds]} hundred" + (f" and {number_words(rest)}" if rest else "")
    return str(number)


def fraction_words(over: int, denominator: int) -> str:
    """Say a fraction.

    >>> fraction_words(3, 16), fraction_words(1, 2), fraction_words(3, 4)
    ('three sixteenths', 'one half', 'three quarters')
    """
    one, many = _PARTS[denominator]
    return f"{number_words(over)} {one if over == 1 else many}"


def length_words(whole: int, over: int, denominator: int) -> str:
    """Say a length of inches and a fraction.

    >>> length_words(0, 3, 16), length_words(5, 1, 2), length_words(5, 0, 16), length_words(1, 0, 16)
    ('three sixteenths', 'five and a half inches', 'five inches', 'one inch')
    """
    if not over:
        return f"{number_words(whole)} {'inch' if whole == 1 else 'inches'}"
    if not whole:
        return fraction_words(over, denominator)
    part = "a " + _PARTS[denominator][0] if over == 1 and denominator == 2 else fraction_words(over, denominator)
    return f"{number_words(whole)} and {part} inches"


def _said_length(found: re.Match[str]) -> str:
    whole, over, denominator = int(found["whole"] or 0), int(found["over"]), int(found["under"])
    if found["whole"] and not found["inch"]:  # "42 1/2 turns": what follows is named by its own word
        return f"{number_words(whole)} and {fraction_words(over, denominator)}"
    return length_words(whole, over, denominator)


def _said_measure(found: re.Match[str]) -> str:
    figure, (one, many) = found["figure"], _UNITS[found["unit"]]
    name = one if figure == "1" else many
    if found["unit"] in {"in", "ft"} and figure.isdigit():
        return f"{number_words(int(figure))} {name}"
    return f"{figure} {name}"


def spoken(text: str) -> str:
    """Say what is written: fractions, units and signs as they are said aloud; everything else stays."""
    said = text.replace("\u00a0", " ")
    for sign, words in _SIGNS:
        said = said.replace(sign, words)
    said = _MINUS.sub("minus ", said)
    said = _LENGTH.sub(_said_length, said)
    said = _MEASURE.sub(_said_measure, said)
    return re.sub(r" +([,.:;])", r"\1", " ".join(said.split()))


def length_said(number: LengthNumber) -> str:
    """Say a length that stands as the large number.

    >>> from station.units import stacked_length
    >>> length_said(LengthNumber(stacked_length(-0.003175), None)), length_said(LengthNumber(None, "8 mm"))
    ('minus one eighth', '8 millimetres')
    """
    stacked = number.stacked
    if stacked is None:
        text = number.millimetres or ""
        return spoken(text if text.endswith("mm") else f"{text} mm")
    under = "under " if stacked.under else ""
    minus = "minus " if stacked.negative else ""
    return under + minus + length_words(stacked.whole, stacked.over, stacked.denominator)


def worth_saying(before: Snapshot | None, now: Snapshot) -> str:
    """Give what to say aloud now, where `before` was said last; nothing where only seconds or pounds have counted on.

    With a new sentence goes the length and its direction, as far as the sentence does not say them itself; with the
    same sentence they are said alone, where they have changed.
    """
    if before is None or _wording(before) != _wording(now):
        sentence = spoken(now.sentence.text)
        return ". ".join([sentence, *(part for part in _length(now) if part not in sentence)])
    return ", ".join(_length(now)) if _length(before) != _length(now) else ""


def _length(snapshot: Snapshot) -> tuple[str, ...]:
    """Give the large length and its direction, as said; nothing where the number is no length."""
    if not isinstance(snapshot.number, LengthNumber):
        return ()
    toward = (f"toward the {snapshot.arrow}",) if snapshot.arrow else ()
    return (length_said(snapshot.number), *toward)


def _wording(snapshot: Snapshot) -> str:
    """Give the sentence without the seconds and pulls that count on in it."""
    return _COUNTING.sub("", snapshot.sentence.text)
