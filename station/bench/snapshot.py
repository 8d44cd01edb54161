"""What the bench shows at one moment: frozen, in the bench's own units, in the words a rigger reads.

The bench model makes a `Snapshot`; the window draws it and computes nothing of the trade. What a person sees can
therefore be asserted without a window.

>>> Gauge(30.1, "lbf", 60.0, 28.0, 45.0, 28.2, 44.8, 60.0).tension
30.1
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from station.linework.drawing import LineDrawing
from station.units import StackedLength

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

Tone = Literal["quiet", "plain", "act", "good", "warn", "stop"]
"""How words are set: quiet and plain ink, act here, in band, leaving band, over the ceiling. Never by colour alone."""

StepState = Literal["done", "now", "to come"]
Toward = Literal["canopy", "link"]

Command = Literal[
    "done",
    "back",
    "level",
    "long or short",
    "long?",
    "zero gauge",
    "take reading",
    "is long",
    "is short",
    "one more",
    "clear",
    "yes",
    "accept",
    "sign",
    "inspect",
    "override",
    "by hand",
    "not sound",
    "scrap",
    "release",
    "another line",
    "file",
    "another weight",
]
"""What a person can do now; the window offers these, by foot, key and button."""

TAPS: tuple[Command, ...] = ("done", "level", "zero gauge", "take reading", "is short", "one more", "yes")
"""What a tap can do; of these at most one is offered."""

LONG_PRESSES: tuple[Command, ...] = ("long or short", "is long", "clear")
"""What a long press can do in a comparison; elsewhere it goes back one step."""


def tap_of(commands: tuple[Command, ...]) -> Command | None:
    """Give what a tap does where `commands` are offered, if anything."""
    return next((command for command in commands if command in TAPS), None)


@dataclass(frozen=True, slots=True)
class Words:
    """A line of words and how it is set."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Header:
    """The top line: which line and piece, which canopy and step, how well the scale is known, the foot."""

    line: str
    piece: str
    canopy: str
    step: str
    scale: Words
    foot: Words


@dataclass(frozen=True, slots=True)
class TensionNumber:
    """The number while pulling: "30.1" and its unit; "--" with a reason where there is no reading."""

    text: str
    unit: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class LengthNumber:
    """The number while marking and comparing: a stacked fraction of inches, or whole millimetres."""

    stacked: StackedLength | None
    millimetres: str | None


@dataclass(frozen=True, slots=True)
class CountNumber:
    """The number in a step that counts: "3 of 9", a piece's number, nothing larger to say."""

    text: str
    unit: str = ""


Number = TensionNumber | LengthNumber | CountNumber


@dataclass(frozen=True, slots=True)
class Gauge:
    """The pull on a straight scale from 0 to `top`: tolerance limits, acceptance limits inside them, the ceiling.

    `tension` is None where there is no reading; the acceptance limits are None where the scale's uncertainty is
    unknown or too large to prove anything.
    """

    tension: float | None
    unit: str
    top: float
    low: float
    high: float
    accept_low: float | None
    accept_high: float | None
    ceiling: float | None


@dataclass(frozen=True, slots=True)
class Progress:
    """Time held of the time asked for, in seconds."""

    held_s: float
    asked_s: float
    complete: bool


@dataclass(frozen=True, slots=True)
class TraceCard:
    """Tension against time before now: `ago_s` (rising to 0), `tension`, and whether each reading joins the one before.

    `span_s` is the running span as (start, end) in seconds before now, `forecast` a straight line of two points
    (seconds from now, tension) or None. Axes are fixed: `window_s` back, a little ahead of now, 0 to `top`.
    """

    ago_s: Floats
    tension: Floats
    joined: Bools
    unit: str
    window_s: float
    top: float
    low: float
    high: float
    accept_low: float | None
    accept_high: float | None
    ceiling: float
    span_s: tuple[float, float] | None
    forecast: tuple[tuple[float, float], tuple[float, float]] | None


@dataclass(frozen=True, slots=True)
class CloseUp:
    """The place being worked on, twice life size: the opposite number's place and the new mark past it.

    `offset_m` is positive toward the canopy; `label` is the length as read ("5/16 in").
    """

    offset_m: float
    label: str
    upper: str
    lower: str


@dataclass(frozen=True, slots=True)
class EndMarks:
    """Marks on a running end, measured from its free end: each a distance in metres and its label, rising."""

    marks_m: tuple[tuple[float, str], ...]
    title: str
    note: str


@dataclass(frozen=True, slots=True)
class Pull:
    """One line's pull in a comparison: the one kept from its turn, or the live one."""

    label: str
    text: str
    gauge: Gauge
    tone: Tone


@dataclass(frozen=True, slots=True)
class PullsCard:
    """Both pulls of a comparison, how they are compared, and how equal they must be for this plan."""

    method: str
    pulls: tuple[Pull, ...]
    note: str


@dataclass(frozen=True, slots=True)
class ListCard:
    """A short list: checks made and to make, or what has been recorded."""

    title: str
    items: tuple[tuple[str, StepState], ...]


@dataclass(frozen=True, slots=True)
class ErrorPoint:
    """One reading of a scale check: the applied force, and the error in percent of it; `down` on the way down."""

    force: float
    error_pct: float
    down: bool


@dataclass(frozen=True, slots=True)
class ErrorsCard:
    """A scale's errors against applied force from 0 to `top`, between the limits of the classes.

    `forces` are all that will be applied, `target` the pull to be judged; `limits` are class and limit in percent,
    narrowest first. `inside` is the limit that every error so far lies within, None where there is none.
    """

    title: str
    unit: str
    top: float
    forces: tuple[float, ...]
    target: float
    points: tuple[ErrorPoint, ...]
    limits: tuple[tuple[str, float], ...]
    inside: float | None


Card = TraceCard | CloseUp | EndMarks | PullsCard | ListCard | ErrorsCard


@dataclass(frozen=True, slots=True)
class DrawingState:
    """The line as it lies on the bench: its drawing, which traps are made, where to act now."""

    drawing: LineDrawing
    made: frozenset[str]  # trap names
    sewn: frozenset[str]
    here: str | None  # the trap being worked on
    mark: str | None  # the mark to make now, by its name within that trap
    too: frozenset[str] = frozenset()  # the traps that are worked on with it, or where there is no single one


@dataclass(frozen=True, slots=True)
class StepMark:
    """One step in the strip: its short label and whether it is done, now or to come."""

    label: str
    state: StepState


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Everything the bench window shows at one moment.

    `sentence` is the one thing to do now; `second` the words right of the number, `arrow` the direction drawn under
    them; `under` the quiet line below. `notice` is what just happened and what to do about it (a lost link, what the
    foot did), `recorded` the last fact filed. `commands` are offered now; a tap, like Space, does what of `TAPS` is
    among them.
    """

    header: Header
    sentence: Words
    number: Number | None
    second: tuple[Words, ...]
    arrow: Toward | None
    under: str
    gauge: Gauge | None
    progress: Progress | None
    card: Card | None
    drawing: DrawingState | None
    steps: tuple[StepMark, ...]
    caution: str
    notice: Words | None
    recorded: str
    commands: tuple[Command, ...]

    @property
    def has_figure(self) -> bool:
        """Tell whether there is a number, or words that stand in its place."""
        return self.number is not None or bool(self.second) or self.arrow is not None
