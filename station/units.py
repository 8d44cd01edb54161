"""Quantities as people write them, in and out.

A quantity is text: one number and one unit ("30 lbf", "0.25 s", "12 deg"), or a length in whole feet then inches
("2 ft 3 in"). Inches and feet also take a fraction or a mixed fraction ("3/8 in", "6-1/2 in"). Everything else is
refused by name; nothing a person types is evaluated, and what is read is exact (fractions, never binary floats).

The factors come from one small pint registry; pint is asked for the factor of a unit we know and never sees what a
person typed.

>>> force_mn("29 lbf"), time_us("0.25 s"), length_m("6 1/2 in")
(128998, 250000, 0.1651)
>>> length_text(0.0079375), length_text(0.0001), length_text(0.1651, "metric")
('5/16 in', 'under 1/32 in', '165 mm')
>>> force_mn("30")
Traceback (most recent call last):
...
station.units.QuantityFault: found '30', expected a force with its unit, as in "30 lbf"
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

if TYPE_CHECKING:
    import pint

Kind = Literal["force", "length", "time", "mass", "angle", "ratio"]
LengthSystem = Literal["imperial", "metric"]

# Unit as written -> its name in the registry, per kind; the first of each kind is the SI unit answers are in.
_UNITS: dict[Kind, dict[str, str]] = {
    "force": {
        "N": "newton",
        "daN": "decanewton",
        "kN": "kilonewton",
        "lbf": "pound_force",
        "kgf": "kilogram_force",
    },
    "length": {"m": "metre", "cm": "centimetre", "mm": "millimetre", "in": "inch", '"': "inch", "ft": "foot"},
    "time": {"s": "second", "ms": "millisecond", "min": "minute"},
    "mass": {"kg": "kilogram", "g": "gram", "lb": "pound", "oz": "ounce"},
    "angle": {"rad": "radian", "deg": "degree"},
    "ratio": {"": "one", "%": "percent"},
}
_UNTYPED = {("angle", "rad"), ("ratio", "")}  # what answers are in, but nobody writes

_EXAMPLES: dict[Kind, str] = {
    "force": "30 lbf",
    "length": "6 1/2 in",
    "time": "30 s",
    "mass": "5 kg",
    "angle": "12 deg",
    "ratio": "10 %",
}

# Exact definitions: the international pound and inch, and standard gravity (see tests/outside/test_units.py).
_DEFINITIONS = """
metre = [length] = m
second = [time] = s
kilogram = [mass] = kg
radian = [] = rad
one = []
newton = kilogram * metre / second ** 2 = N
decanewton = 10 * newton
kilonewton = 1000 * newton
pound = 0.45359237 * kilogram
ounce = pound / 16
gram = 0.001 * kilogram
kilogram_force = 9.80665 * newton
pound_force = 0.45359237 * kilogram_force
inch = 0.0254 * metre
foot = 0.3048 * metre
centimetre = 0.01 * metre
millimetre = 0.001 * metre
millisecond = 0.001 * second
minute = 60 * second
degree = 0.017453292519943295769236907684886 * radian
percent = 0.01 * one
"""


class QuantityFault(ValueError):
    """What a person wrote is no quantity of the kind asked for; the message says what was found and expected."""


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Give the one registry: our own two dozen units, with decimal factors so that conversion is exact."""
    from decimal import Decimal

    import pint

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines(), non_int_type=Decimal)


@cache
def factor(unit: str, kind: Kind) -> Fraction:
    """Give how many SI units one `unit` of `kind` is, exactly.

    >>> factor("lbf", "force")
    Fraction(8896443230521, 2000000000000)
    """
    names = _UNITS[kind]
    base = next(iter(names.values()))
    return Fraction(registry().Quantity(1, names[unit]).to(base).magnitude)


def units_of(kind: Kind) -> list[str]:
    """Give the units a person may write for `kind`."""
    return [unit for unit in _UNITS[kind] if (kind, unit) not in _UNTYPED]


MINUS = "\N{MINUS SIGN}"
_NUMBER = r"(?P<number>[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE](?P<exponent>[+-]?[0-9]{1,9}))?"
_FRACTION = r"(?:(?P<whole>[0-9]+)(?: +|-))?(?P<over>[0-9]+)/(?P<under>[0-9]+)"
_PLAIN = re.compile(rf"(?P<sign>[+{MINUS}-]?) *(?:{_FRACTION}|{_NUMBER}) *(?P<unit>[A-Za-z%\"]*)", re.ASCII)
_FEET = re.compile(
    rf"(?P<sign>[+{MINUS}-]?) *(?P<feet>[0-9]+) *ft +(?:{_FRACTION}|{_NUMBER}) *(?P<unit>in|\")", re.ASCII
)
_LARGEST_EXPONENT = 30


def quantity(text: object, kind: Kind) -> Fraction:
    """Read `text` as a quantity of `kind` and give it in SI units (N, m, s, kg, rad, or a plain ratio), exactly.

    Raises `QuantityFault` for a bare number, a decimal comma, a unit of another kind, anything that is not one
    number and one unit, and numbers too large or too small to mean anything here.
    """
    if not isinstance(text, str):
        raise QuantityFault(f"found {text!r}, expected {_wanted(kind)} as text in quotes")
    stripped = text.strip()
    feet = _FEET.fullmatch(stripped) if kind == "length" else None
    match = feet or _PLAIN.fullmatch(stripped)
    if match is None:
        raise QuantityFault(_why_no_quantity(text, kind))
    unit = match["unit"]
    if unit == "" or (kind, unit) in _UNTYPED or unit not in _UNITS[kind]:
        raise QuantityFault(_why_wrong_unit(text, unit, kind))
    value = _value(match, text)
    if match["over"] is not None and unit not in {"in", '"', "ft"}:
        raise QuantityFault(f"found {text!r}: fractions go with inches and feet; write {unit} as a decimal")
    inches = value
    if feet is not None:
        if inches >= 12:
            raise QuantityFault(f"found {text!r}, expected fewer than 12 in after whole feet")
        value = inches + 12 * int(feet["feet"])
    result = value * factor(unit, kind)
    return -result if match["sign"] in ("-", MINUS) else result


def _value(match: re.Match[str], text: str) -> Fraction:
    if match["over"] is not None:
        if int(match["under"]) == 0:
            raise QuantityFault(f"found {text!r}, whose fraction divides by zero")
        return Fraction(int(match["whole"] or 0)) + Fraction(int(match["over"]), int(match["under"]))
    exponent = int(match["exponent"] or 0)
    if abs(exponent) > _LARGEST_EXPONENT or len(match["number"]) > 2 * _LARGEST_EXPONENT:
        raise QuantityFault(f"found {text!r}, expected a number of ordinary size")
    return Fraction(match["number"]) * Fraction(10) ** exponent


def _wanted(kind: Kind) -> str:
    article = "an" if kind == "angle" else "a"
    return f'{article} {kind} with its unit, as in "{_EXAMPLES[kind]}"'


def _why_no_quantity(text: str, kind: Kind) -> str:
    if re.fullmatch(r" *[+-]?[0-9]*,[0-9]+.*", text):
        return f'found {text!r}: a decimal is written with a point, as in "{_EXAMPLES[kind]}"'
    return f"found {text!r}, expected {_wanted(kind)}"


def _why_wrong_unit(text: str, unit: str, kind: Kind) -> str:
    if unit == "":
        return f"found {text!r}, expected {_wanted(kind)}"
    if kind == "force" and unit in {"lb", "lbs", "kg", "g", "oz"}:
        number = text.strip()[: -len(unit)].strip()
        right = {"lb": "lbf", "lbs": "lbf", "kg": "kgf"}.get(unit, "N")
        return f"found {text!r}: {unit} is a mass and a force is meant; write {number} {right}"
    other = next((other for other in _UNITS if unit and unit in units_of(other)), None)
    what = f"{unit} is a unit of {other}" if other else f"{unit} is no unit known here"
    return f"found {text!r}: {what}; expected {_wanted(kind)}, in one of {', '.join(units_of(kind))}"


def force_mn(text: object) -> int:
    """Read a force and round it to whole millinewtons, the integers in which tensions are compared."""
    return round(quantity(text, "force") * 1000)


def force_n(text: object) -> float:
    """Read a force in newtons."""
    return float(quantity(text, "force"))


def time_us(text: object) -> int:
    """Read a time and round it to whole microseconds."""
    return round(quantity(text, "time") * 1_000_000)


def length_m(text: object) -> float:
    """Read a length in metres."""
    return float(quantity(text, "length"))


class StackedLength(NamedTuple):
    """A length as a rigger reads it: whole inches and a fraction in lowest terms, rounded; `exact_m` is kept.

    `under` says that the length is not zero and yet too short for the smallest fraction: then the fraction shown is
    that smallest one and the words say "under". `negative` is the sign.
    """

    whole: int
    over: int
    denominator: int
    negative: bool
    under: bool
    exact_m: float


def stacked_length(length: float, denominator: int = 16) -> StackedLength:
    """Round a length in metres to the nearest inch/`denominator`; what would round to zero and is not goes finer.

    A length under half of 1/16 in is read again to 1/32; one under half of that says "under 1/32 in".
    """
    inches = abs(Fraction(length)) / Fraction("0.0254")
    for fine in (denominator, 2 * denominator):
        parts = round(inches * fine)
        if parts or not inches:
            whole, over = divmod(parts, fine)
            reduced = Fraction(over, fine)
            return StackedLength(whole, reduced.numerator, reduced.denominator, length < 0, False, length)
    return StackedLength(0, 1, 2 * denominator, length < 0, True, length)


def length_text(length: float, system: LengthSystem = "imperial", denominator: int = 16) -> str:
    """Write a length in metres as the bench reads it: nearest 1/16 in or millimetre, and never a 0 for what is not.

    >>> length_text(3.048), length_text(-0.003175), length_text(0.0004, "metric")
    ('120 in', '−1/8 in', 'under 1 mm')
    """
    if system == "metric":
        millimetres = round(abs(Fraction(length)) * 1000)
        if millimetres == 0 and length != 0:
            return "under 1 mm"
        return f"{MINUS if length < 0 and millimetres else ''}{millimetres} mm"
    shown = stacked_length(length, denominator)
    if shown.under:
        return f"under {shown.over}/{shown.denominator} in"
    whole = str(shown.whole) if shown.whole or not shown.over else ""
    fraction = f"{shown.over}/{shown.denominator}" if shown.over else ""
    sign = MINUS if shown.negative and (shown.whole or shown.over) else ""
    return f"{sign}{' '.join(part for part in (whole, fraction) if part)} in"


def percent_text(share: float, decimals: int, signed: bool = False) -> str:
    """Write a share in per cent, with a minus sign where it is below zero, and a plus where it is to be `signed`.

    >>> percent_text(-0.0067, 2), percent_text(0.01, 1, signed=True)
    ('−0.67 %', '+1.0 %')
    """
    return f"{100 * share:{'+' if signed else ''}.{decimals}f} %".replace("-", MINUS)


def force_text(force: float, unit: str = "lbf", decimals: int = 1) -> str:
    """Write a force in newtons in the bench's unit.

    >>> force_text(133.446648457815), force_text(100, "N", 0)
    ('30.0 lbf', '100 N')
    """
    return f"{in_unit(force, unit):.{decimals}f} {unit}".replace("-", MINUS)


@dataclass(frozen=True)
class Said:
    """How lengths and pulls are said to a person: in inches and pounds, or in millimetres and newtons.

    >>> METRIC.length(0.0127), METRIC.force(133.4), IMPERIAL.length(0.0127), IMPERIAL.force(0.1)
    ('13 mm', '133.4 N', '1/2 in', 'under 0.1 lbf')
    """

    system: LengthSystem = "imperial"

    def length(self, length_m: float, denominator: int = 16) -> str:
        """Write a length in metres; see `length_text`."""
        return length_text(length_m, self.system, denominator)

    def force(self, force_n: float, decimals: int = 1) -> str:
        """Write a force in newtons, and never a 0 for what is not; see `force_text`."""
        unit = "N" if self.system == "metric" else "lbf"
        text, least = force_text(force_n, unit, decimals), 10.0**-decimals
        return f"under {least:.{decimals}f} {unit}" if force_n and not float(text.split()[0].lstrip(MINUS)) else text


NO_BREAK = "\N{NO-BREAK SPACE}"
_TOGETHER = re.compile(
    r"(?<=\d) (?=\d+/\d|(?:in|ft|mm|cm|m|s|ms|min|lbf|kgf|daN|kN|N|kg|lb|pounds?)\b|%)"  # a figure and what is after it
    r"|(?<=[A-Za-z]) (?=\d+ (?:left|right)\b)|(?<=\d) (?=(?:left|right)\b)"  # the name of a line of a set
)


def kept_together(text: str) -> str:
    r"""Put no-break spaces where no line may end: within a figure with its fraction and unit, and a line's name.

    >>> kept_together("A 1 left begins at 1 1/2 in").split(" ")
    ['A\xa01\xa0left', 'begins', 'at', '1\xa01/2\xa0in']
    """
    return _TOGETHER.sub(NO_BREAK, text)


IMPERIAL = Said("imperial")
METRIC = Said("metric")


def named(what: str, names: Iterable[str]) -> str:
    """Name one or several of a kind, as they are said aloud. Raises `ValueError` without a name.

    >>> named("piece", ["1"]), named("piece", ["1", "2", "3"])
    ('piece 1', 'pieces 1, 2 and 3')
    """
    *others, last = names
    return f"{what}s {', '.join(others)} and {last}" if others else f"{what} {last}"


def in_unit(force: float, unit: str) -> float:
    """Give a force in newtons as a number of `unit`."""
    return force / float(factor(unit, "force"))
