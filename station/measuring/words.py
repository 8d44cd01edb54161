"""Verdicts and reasons as a rigger would say them: the same sentences at the bench, in commands and in records.

>>> spec = HoldSpecification("main", 133_447, 124_550, 200_170, 266_893, 30_000_000)
>>> said("not-held", ("short",), spec, held_us=20_000_000)
['Not held: 20.0 s in the band at the longest, of 30 s. Pull again.']
"""

from __future__ import annotations

from collections.abc import Sequence

from station.settings.hold import HoldSpecification
from station.units import force_text

SCRAP = "Scrap the piece, or have it released by a named person with a reason: nobody can see set-in damage."


def said(
    verdict: str, reasons: Sequence[str], spec: HoldSpecification, held_us: int, unit: str = "lbf", decimals: int = 1
) -> list[str]:
    """Give one sentence for a hold that is held, else one for each reason, each saying what to do."""
    if verdict == "held":
        return [f"Held: {seconds(held_us)} in the band, {band(spec, unit)}."]
    ceiling = force_text(spec.ceiling_mn / 1000, unit, decimals)
    longest = f"{seconds(held_us)} in the band at the longest"
    sentences = {
        "clock": "Void: the readings' times do not rise, so nothing can be timed by them. Pull again.",
        "overload": f"Void: the scale was overloaded. {SCRAP}",
        "over-ceiling": f"Void: the pull went over the ceiling, {ceiling}. {SCRAP}",
        "unit-changed": "Void: the scale changed its unit in the middle of the hold. Set it back and pull again.",
        "zero-not-seen-before": "Void: the scale did not show zero before the pull. Ease off to zero, then pull again.",
        "zero-not-seen-after": "Void: the scale did not come back to zero after the pull. Check its zero, pull again.",
        "program-fault": "Void: the program failed while judging. Pull again.",
        "no-scale-check": "Unproven: the scale has no check in force. Check it with a known weight, then pull again.",
        "scale-too-coarse": "Unproven: this scale is too coarse to prove so narrow a band. Check the scale.",
        "in-doubt": "Unproven: in the band, but nearer to its edge than the scale can tell. Pull again, deeper in.",
        "never-in-band": f"Not held: the pull never came into the band, {band(spec, unit)}. Pull again.",
        "short": f"Not held: {longest}, of {seconds(spec.duration_us, 0)}. Pull again.",
    }
    return [sentences[reason] for reason in reasons]


def why_broken(why: str) -> str:
    """Say why a span broke, as a rigger would.

    >>> why_broken("gap")
    'The scale said nothing for too long'
    """
    return {
        "below": "You fell below the band",
        "above": "You pulled above the band",
        "gap": "The scale said nothing for too long",
        "fault": "The scale said that it has a fault",
        "overload": "The scale was overloaded",
        "clock": "The scale's readings went back in time",
        "still": "The reading did not move for too long",
    }[why]


def starts_again(why: str, held_us: int) -> str:
    """Say that a span broke and after how long.

    >>> starts_again("below", 14_000_000)
    'You fell below the band after 14 s: the time starts again.'
    """
    return f"{why_broken(why)} after {seconds(held_us, 0)}: the time starts again."


def band(spec: HoldSpecification, unit: str = "lbf") -> str:
    """Give the tolerance limits as words: "28.0 to 45.0 lbf"."""
    low, _, _ = force_text(spec.low_mn / 1000, unit).partition(" ")
    return f"{low} to {force_text(spec.high_mn / 1000, unit)}"


def seconds(time_us: int, decimals: int = 1) -> str:
    """Give a time as words, cut, never rounded up: what was not held is not shown as held.

    >>> seconds(29_999_999), seconds(900_000_000, 0)
    ('29.9 s', '15 min')
    """
    if decimals == 0 and time_us >= 120_000_000 and time_us % 60_000_000 == 0:
        return f"{time_us // 60_000_000} min"
    shown = time_us // 10 ** (6 - decimals)
    return f"{shown / 10**decimals:.{decimals}f} s"
