"""A running demo killed (kill -9) at random moments: `python -m tests.campaigns.kill --json [--seed N] [--size KILLS]`.

A headless demo runs in a process of its own, is listened to line by line, and is killed at a moment drawn from the
whole time such a demo takes. Then the archive must open and verify, and have every hold whose verdict was shown, as it
was shown. The next demo goes on in the archive that the killed one left; after twenty it begins a new one. `lost`
counts the kills after which a hold was missing or another, `survived` the others, `after_a_verdict` those that came
after a verdict was shown and before the demo had ended.
"""

from __future__ import annotations

import os
import random
import re
import select
import signal
import sys
import tempfile
import time
from pathlib import Path
from typing import NoReturn

import station.bench_app
import station.demo_run  # noqa: F401 -- so that a forked demo need not
from station.cli import main as main_of_fidbench
from station.filing import facts_of
from station.records.archive import Archive, ArchiveFault
from station.records.entries import HoldJudged
from station.records.verify import verify
from tests.campaigns.campaign import Finding, Progress, run, some

KILLS_IN_ONE_ARCHIVE = 20
WHOLE_DEMO_WITHIN_S = 120.0
_VERDICT = re.compile(r"^ ?\d+:\d\d {4}(Held:|The trace says:)")


def demo(folder: Path, seed: int, after_s: float) -> tuple[list[bool], bool]:
    """Run a demo and kill it after so long.

    Gives for each verdict shown whether it said held, and whether the demo was killed, not at its end before that.

    It runs in a process forked from this one, which has imported everything before, so that every moment drawn is one
    of the demo and none is spent on starting Python.
    """
    own = folder / "temporary"
    own.mkdir(exist_ok=True)
    told, telling = os.pipe()
    running = os.fork()
    if not running:
        _be_the_demo(telling, own, ["demo", "--headless", "--out", str(folder), "--seed", str(seed)])
    os.close(telling)
    until_s = time.monotonic() + after_s
    said = b""
    with os.fdopen(told, "rb", buffering=0) as pipe:
        while (left_s := until_s - time.monotonic()) > 0:
            if select.select([pipe], [], [], left_s)[0]:
                if not (chunk := pipe.read(65536)):
                    break
                said += chunk
        os.kill(running, signal.SIGKILL)  # not waited for yet, so this is still its number
        _, status = os.waitpid(running, 0)
        said += pipe.readall()  # what it had shown when it died
    shown = [found[1] == "Held:" for line in said.decode().splitlines() if (found := _VERDICT.match(line))]
    return shown, os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGKILL and left_s <= 0


def _be_the_demo(telling: int, temporary: Path, command: list[str]) -> NoReturn:
    """Turn this process into a demo whose every line goes out as it is said."""
    try:
        os.dup2(telling, 1)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        sys.stdout = os.fdopen(1, "w", buffering=1, encoding="utf-8")
        tempfile.tempdir = str(temporary)
        sys.argv = ["fidbench", *command]
        main_of_fidbench()
    finally:
        os._exit(0)


def kept(archive: Path) -> list[bool]:
    """Give for each hold in an archive whether it was held, having verified everything. Raises what is wrong."""
    if not archive.exists():
        return []
    with Archive.open(archive) as opened:
        found = verify(opened.entries(), opened.stored_traces, None, opened.unsound(), opened.unguarded())
        if not found.good or found.remarks:
            raise ArchiveFault(f"{found.damaged} {found.verdicts_changed} {found.remarks}")
        return [each.judgement["verdict"] == "held" for _, each in facts_of(opened) if isinstance(each, HoldJudged)]


def kill(folder: Path, seed: int, after_s: float, before: int) -> tuple[str, int, int, bool]:
    """Kill one demo; say what was lost, nothing where nothing was.

    `before` is how many holds were there. Gives how many verdicts were shown and how many holds are there now as well,
    and whether the demo was killed at all.
    """
    shown, killed = demo(folder, seed, after_s)
    try:
        there = kept(folder / "archive.sqlite")
    except ArchiveFault as fault:
        return f"the archive does not verify: {fault}", len(shown), 0, killed
    new = there[before:]
    said = ""
    if len(there) < before or new[: len(shown)] != shown:
        said = f"{len(shown)} verdicts shown, {shown}; {len(there)} holds kept, {before} before, new ones {new}"
    return said, len(shown), len(there), killed


def killing(seed: int, size: int) -> Finding:
    """Kill demos so many times; good where nothing was lost."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    losses: list[str] = []
    tell = Progress(size, "kills")
    killed = after_a_verdict = before = 0
    with tempfile.TemporaryDirectory(prefix="fidbench-kill-") as made:
        began_s = time.monotonic()
        (Path(made) / "whole").mkdir()
        whole, _ = demo(Path(made) / "whole", seed, WHOLE_DEMO_WITHIN_S)
        takes_s = time.monotonic() - began_s
        while killed < size:
            folder = Path(made) / f"archive {killed // KILLS_IN_ONE_ARCHIVE}"
            if not folder.exists():
                folder.mkdir()
                before = 0
            after_s = chance.uniform(0, takes_s)
            said, shown, before, was_killed = kill(folder, chance.randrange(10_000), after_s, before)
            if said:
                losses.append(f"kill {killed}, after {after_s:.3f} s: {said}")
            killed += was_killed
            after_a_verdict += was_killed and shown > 0
            tell(killed, f"{len(losses)} lost")
    figures = {"tried": killed, "survived": killed - len(losses), "lost": len(losses)}
    figures |= {"after_a_verdict": after_a_verdict, "demo_s": round(takes_s, 1), "verdicts_of_a_whole_demo": len(whole)}
    words = (
        f"Of {killed} demos killed, {after_a_verdict} of them after a verdict was shown, {len(losses)} lost something."
    )
    return Finding(figures | {"first": some(losses)}, "\n".join([words, *some(losses)]), bool(whole) and not losses)


if __name__ == "__main__":
    sys.exit(run(__doc__, 500, "kills", killing))
