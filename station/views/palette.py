"""The two looks of the bench, dark and light, and how far apart their colours stand.

A colour is named by what it is for, never by what it looks like. Colour is always the fourth way a thing is told, after
words, shape and place, and sound; so whatever is drawn in a tone also carries that tone's sign.

The main figures and the sentence are set in ink in every state (at least 7:1 against ground and card); everything else
that is read keeps at least 4.5:1, and what is only a shape at least 3:1.

>>> round(contrast("#767676", "#FFFFFF"), 2)
4.54
>>> tone_colour(DARK, "good") == DARK.in_band
True
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from station.bench.snapshot import Tone


LookName = Literal["dark", "light"]


@dataclass(frozen=True, slots=True)
class Look:
    """One look: every colour of the window, as #RRGGBB, by its use."""

    name: LookName
    ground: str
    card: str
    rule: str
    ink: str
    soft: str
    in_band: str
    leaving: str
    ceiling: str
    act: str
    main_line: str
    cascade: str
    band: str  # the acceptance band behind the trace: in band, thinned onto the card
    track: str  # an empty scale or bar: rule, thinned onto the ground


DARK = Look(
    name="dark",
    ground="#12181C",
    card="#1A2228",
    rule="#33404A",
    ink="#F5F2E9",
    soft="#A9B6BF",
    in_band="#3CCBA0",
    leaving="#F2B134",
    ceiling="#FF7A3D",
    act="#6CC5F5",
    main_line="#E9DFC7",
    cascade="#BFD7E8",
    band="#213C3C",
    track="#252F37",
)
LIGHT = Look(
    name="light",
    ground="#FBF9F4",
    card="#F1EDE3",
    rule="#C9C2B2",
    ink="#16202A",
    soft="#4E5B66",
    in_band="#00664B",
    leaving="#8A5A00",
    ceiling="#7A1C00",
    act="#004F86",
    main_line="#7A6A45",
    cascade="#3E6A8A",
    band="#D5DFD2",
    track="#E2DDD0",
)


def look_named(name: LookName) -> Look:
    """Give the look called `name`."""
    return DARK if name == "dark" else LIGHT


def tone_colour(look: Look, tone: Tone) -> str:
    """Give the colour in which words of a tone are set."""
    match tone:
        case "quiet":
            return look.soft
        case "plain":
            return look.ink
        case "act":
            return look.act
        case "good":
            return look.in_band
        case "warn":
            return look.leaving
        case "stop":
            return look.ceiling


def contrast(one: str, other: str) -> float:
    """Give the contrast ratio of two colours written #RRGGBB, from 1 to 21, whichever is lighter.

    (L1 + 0.05) / (L2 + 0.05), the larger relative luminance above: Web Content Accessibility Guidelines (WCAG) 2.2.
    """
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def channels(colour: str) -> tuple[float, float, float]:
    """Give red, green and blue of #RRGGBB in linear light, each 0 to 1 (WCAG 2.2, "relative luminance")."""
    if len(colour) != 7 or colour[0] != "#":
        raise ValueError(f"found {colour!r}, expected a colour as #RRGGBB")
    red, green, blue = (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    return _linear(red), _linear(green), _linear(blue)


def _linear(share: float) -> float:
    return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)


def _luminance(colour: str) -> float:
    red, green, blue = channels(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
