"""`python -m tests.campaigns.kill --json [--seed N] [--size N]`: kill -9 at random moments of a running demo.

A headless demo is started as a person starts it, read line by line, and killed at a moment drawn from the whole time
such a demo takes. Then the archive must open and verify, and have every hold whose verdict was shown, as it was shown.
The next demo goes on in the archive that the killed one left; after twenty it begins a new one. `lost` counts the kills
after which a hold was missing or another, `survived` the others; a whole campaign takes the better part of an hour.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

from station.filing import facts_of
from station.records.archive import Archive, ArchiveFault
from station.records.entries import HoldJudged
from station.records.verify import verify

KILLS_IN_ONE_ARCHIVE = 20
_VERDICT = re.compile(r"^ ?\d+:\d\d {4}(Held:|The trace says:)")


def demo(folder: Path, seed: int, after_s: float | None) -> list[bool]:
    """Run a demo and kill it after so long, or let it end; give for each verdict shown whether it said held."""
    command = [sys.executable, "-c", "from station.cli import main; main()", "demo", "--headless"]
    own = folder / "temporary"
    own.mkdir(exist_ok=True)
    surroundings = os.environ | {"PYTHONUNBUFFERED": "1", "TMPDIR": str(own)}
    running = subprocess.Popen(
        [*command, "--out", str(folder), "--seed", str(seed)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=surroundings,
    )
    end = threading.Timer(after_s, running.kill) if after_s is not None else None
    if end:
        end.start()
    with running:
        assert running.stdout is not None
        shown = [found[1] == "Held:" for line in running.stdout if (found := _VERDICT.match(line))]
    if end:
        end.cancel()
    return shown


def kept(archive: Path) -> list[bool]:
    """Give for each hold in an archive whether it was held, having verified everything. Raises what is wrong."""
    if not archive.exists():
        return []
    with Archive.open(archive) as opened:
        found = verify(opened.entries(), opened.stored_traces, None, opened.unsound(), opened.unguarded())
        if not found.good or found.remarks:
            raise ArchiveFault(f"{found.damaged} {found.verdicts_changed} {found.remarks}")
        return [each.judgement["verdict"] == "held" for _, each in facts_of(opened) if isinstance(each, HoldJudged)]


def lost(folder: Path, seed: int, after_s: float, before: int) -> str:
    """Kill one demo; say what was lost, nothing where nothing was. `before` is how many holds were there."""
    shown = demo(folder, seed, after_s)
    try:
        there = kept(folder / "archive.sqlite")
    except ArchiveFault as fault:
        return "" if not shown and "holds nothing yet" in str(fault) else f"the archive does not verify: {fault}"
    new = there[before:]
    if len(there) < before or new[: len(shown)] != shown:
        return f"{len(shown)} verdicts shown, {shown}; {len(there)} holds kept, {before} before, new ones {new}"
    return ""


def main() -> int:
    """Kill demos; status 0 where nothing was lost."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", action="store_true")
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--size", type=int, default=500)
    asked = options.parse_args()
    chance = random.Random(asked.seed)  # noqa: S311 -- repeatable, no secret
    losses: list[str] = []
    with tempfile.TemporaryDirectory(prefix="fidbench-kill-") as made:
        began_s = time.monotonic()
        (Path(made) / "whole").mkdir()
        whole = demo(Path(made) / "whole", asked.seed, None)
        takes_s = time.monotonic() - began_s
        for count in range(1, asked.size + 1):
            folder = Path(made) / f"archive {(count - 1) // KILLS_IN_ONE_ARCHIVE}"
            folder.mkdir(exist_ok=True)
            try:
                before = len(kept(folder / "archive.sqlite"))
            except ArchiveFault:
                before = 0  # killed before it was made, or told as lost already
            said = lost(folder, chance.randrange(10_000), chance.uniform(0, takes_s), before)
            if said:
                losses.append(f"kill {count}: {said}")
            print(f"{count} of {asked.size} killed, {len(losses)} lost", file=sys.stderr)
    found = {"tried": asked.size, "survived": asked.size - len(losses), "lost": len(losses)}
    more = {"demo_s": round(takes_s, 1), "verdicts_of_a_whole_demo": len(whole), "first": losses[:5]}
    print(json.dumps(found | more) if asked.json else found)
    return 1 if losses or not whole else 0


if __name__ == "__main__":
    sys.exit(main())
