"""`python -m tests.campaigns.rule --json [--seed N] [--size N]`: the hold's rule against the slow one."""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "station" / "measuring"))
from random_traces import disagreement, random_rows, random_rule


def main() -> int:
    """Judge random traces both ways; status 0 when all agree."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", action="store_true")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--size", type=int, default=100_000)
    asked = options.parse_args()
    chance = random.Random(asked.seed)  # noqa: S311 -- repeatable, no secret
    disagreed: list[str] = []
    began_s = time.monotonic()
    for count in range(1, asked.size + 1):
        said = disagreement(random_rows(chance), *random_rule(chance))
        if said:
            disagreed.append(f"trace {count}: {said}")
        if count % 10_000 == 0:
            print(f"{count} of {asked.size} traces, {len(disagreed)} disagreed", file=sys.stderr)
    found = {"traces": asked.size, "disagreed": len(disagreed), "seconds": round(time.monotonic() - began_s, 1)}
    print(json.dumps(found | {"first": disagreed[:5]}) if asked.json else found)
    return 1 if disagreed else 0


if __name__ == "__main__":
    sys.exit(main())
