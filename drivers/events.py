"""What comes in from the hardware: immutable facts, stamped once, at the edge.

Every stamp is a whole number of microseconds of one monotonic clock. After this module nobody reads a clock.

>>> Reading(at_us=12_500, force=29.96, unit="lbf", status="stable", arrived_us=13_000).force
29.96
"""

from __future__ import annotations

from typing import Literal, NamedTuple

Status = Literal["stable", "unstable", "overload", "fault"]
ForceUnit = Literal["N", "lbf", "kgf"]
LengthUnit = Literal["mm", "cm", "in"]
Source = Literal["second scale", "gauge"]


class Frame(NamedTuple):
    """One whole frame, decoded and not yet stamped. `force` is None where the scale said it has none."""

    force: float | None
    unit: ForceUnit | None
    status: Status | None


class Noise(NamedTuple):
    """Bytes that were no frame, not yet stamped, and why."""

    raw: bytes
    why: str


class Reading(NamedTuple):
    """One reading of the scale: `at_us` is its stamp, `arrived_us` when its bytes came in."""

    at_us: int
    force: float | None
    unit: ForceUnit | None
    status: Status | None
    arrived_us: int


class Garbage(NamedTuple):
    """Bytes that were no frame: counted in the record; the gap they leave is judged."""

    at_us: int
    raw: bytes
    why: str


class LinkUp(NamedTuple):
    """The port opened, or bytes came again after a silence."""

    at_us: int
    url: str


class LinkLost(NamedTuple):
    """The port went away or fell silent: `why` in a person's words, `advice` what to do."""

    at_us: int
    why: str
    advice: str


class GaugeReading(NamedTuple):
    """One reading of a length gauge, in whole micrometres; None where it gave no number."""

    at_us: int
    length_um: int | None
    status: Status | None


class Beside(NamedTuple):
    """What came from an instrument that stands beside the scale: a second scale, or a length gauge."""

    at_us: int
    source: Source
    event: Reading | GaugeReading | LinkUp | LinkLost


class PedalUp(NamedTuple):
    """The pedal's port opened, the pedal `down` or not. Where not `watched`, a server that hangs goes unnoticed."""

    at_us: int
    url: str
    watched: bool = True
    down: bool = False


class PedalLost(NamedTuple):
    """The pedal's port went away: `why` in a person's words, `advice` what to do. The scale is not concerned."""

    at_us: int
    why: str
    advice: str


class PedalEdge(NamedTuple):
    """The foot went down or came up, before any debouncing."""

    at_us: int
    down: bool


class Tick(NamedTuple):
    """Time passed and nothing came: what shows a stalled scale."""

    at_us: int


LinkEvent = Reading | Garbage | LinkUp | LinkLost
PedalLinkEvent = PedalEdge | PedalUp | PedalLost
Event = LinkEvent | PedalLinkEvent | Beside | Tick
