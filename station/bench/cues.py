"""What the bench says by ear: a few words, each a tone of its own and a visible twin.

>>> CUES[2]
'time complete'
"""

from __future__ import annotations

from typing import Literal

Cue = Literal["in band", "leaving band", "time complete", "broken", "step done", "not counted", "long press"]
CUES: tuple[Cue, ...] = ("in band", "leaving band", "time complete", "broken", "step done", "not counted", "long press")
