"""The hold's rule against the slow one: `python -m tests.campaigns.rule --json [--seed N] [--size TRACES]`.

Random traces that meet gaps, limits and durations exactly are judged by the program and by a second implementation,
written from the words of the rule alone; every figure must be the same.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

from tests.campaigns.campaign import Finding, Progress, run, some

sys.path.insert(0, str(Path(__file__).parent.parent / "station" / "measuring"))
from random_traces import disagreement, random_rows, random_rule


def rule(seed: int, size: int) -> Finding:
    """Judge so many random traces both ways."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    disagreed: list[str] = []
    tell = Progress(size, "traces")
    for count in range(1, size + 1):
        said = disagreement(random_rows(chance), *random_rule(chance))
        if said:
            disagreed.append(f"trace {count}: {said}")
        tell(count, f"{len(disagreed)} disagreed")
    figures = {"traces": size, "disagreed": len(disagreed), "first": some(disagreed)}
    return Finding(figures, f"{size} random traces judged both ways, {len(disagreed)} disagreed.", not disagreed)


if __name__ == "__main__":
    sys.exit(run(__doc__, 100_000, "traces", rule))
