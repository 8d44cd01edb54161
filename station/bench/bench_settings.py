"""What the bench works by, and whom it gives its facts to.

>>> BenchSettings.__dataclass_fields__["second_uncertainty"].default is None  # a cell counts as not checked until it is
True
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from station.bench.snapshot import Words
from station.measuring.hold import ScaleUncertainty
from station.measuring.trace import Trace
from station.records.entries import Entry
from station.settings.hold import HoldSpecification
from station.units import LengthSystem


class Filing(Protocol):
    """Files a fact with its traces, durably, and gives its number in the chain."""

    def __call__(self, entry: Entry, traces: Sequence[Trace] = ()) -> int:
        """File one fact."""


@dataclass(frozen=True)
class BenchSettings:
    """What the bench works by. `scale` is the scale's name in records; None where there are no instruments.

    `gauge` is 1 where there is a length gauge that rises as a line is longer, -1 where it falls. `second_uncertainty`
    is the second scale's, where two cells compare; None where nobody checked it.
    """

    pre_stretch: HoldSpecification
    uncertainty: ScaleUncertainty | None
    response_us: int | None
    scale: str | None
    scale_words: Words
    unit: str = "lbf"
    lengths: LengthSystem = "imperial"
    next_piece: int = 1
    pedal: bool = True
    gauge: int | None = None
    second_uncertainty: ScaleUncertainty | None = None
