"""Whether the tests notice a slip in a module: `python -m tests.campaigns.mutation --json [--seed N] [--size MUTANTS]`.

Mutants (`mutants.py`) drawn at random from hold, line plan, decoders and chain are put, one at a time, into a
throw-away copy of the tree, and the quick tests of that room are run there. A mutant that no test minds survives: its
place is told, and the status is 1. Those that change nothing that anybody could see stand with the reason in
`equivalent.toml`, and are counted apart. A mutant that takes far longer than the sound module is counted as killed.

The tests run in processes forked from this one, which has loaded what the program stands on, and none of the program.
"""

from __future__ import annotations

import importlib
import json
import multiprocessing
import os
import random
import shutil
import sys
import tempfile
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.campaigns.campaign import Finding, Progress, run
from tests.campaigns.mutants import Mutant, mutants

ROOT = Path(__file__).parent.parent.parent
EQUIVALENT = Path(__file__).parent / "equivalent.toml"
ROOMS = ("station", "drivers", "simulators", "config", "tests", "docs")  # tests run the checker in docs
LOADED_BEFORE = ("hypothesis.strategies", "numpy", "pint", "rfc8785", "scipy.stats", "sqlalchemy", "cryptography")


@dataclass(frozen=True)
class Room:
    """Modules, and the tests that are to mind what is in them, the quickest first."""

    modules: tuple[str, ...]
    tests: tuple[str, ...]
    left_out: tuple[str, ...] = ()


ASKED = {
    "hold": Room(
        ("station/measuring/hold.py", "station/measuring/hold_state.py", "station/measuring/live_hold.py"),
        ("tests/station/measuring/test_hold.py", "tests/station/measuring/test_live_hold.py"),
    ),
    "line plan": Room(
        tuple(f"station/linework/{name}.py" for name in ("traps", "line_plan", "error_budget")),
        (
            "tests/outside/test_line_work.py",
            *(
                f"tests/station/linework/test_{name}.py"
                for name in ("refusals", "allowance", "material_shrinkage", "adjust", "line_plan")
            ),
        ),
        ("every_tree-7",),
    ),
    "drawing": Room(
        ("station/linework/placing.py",), ("tests/station/linework/test_drawing.py",), ("test_nothing_overlaps_in_any",)
    ),
    "decoders": Room(
        tuple(
            f"drivers/{name}.py" for name in ("text_frames", "template", "modbus_rtu", "scpi", "checksums", "stamps")
        ),
        (
            "tests/outside/test_frames.py",
            *(
                f"tests/drivers/test_{name}.py"
                for name in ("checksums", "stamps", "scpi", "modbus_rtu", "text_format", "text_frames")
            ),
        ),
    ),
    "chain": Room(
        tuple(f"station/records/{name}.py" for name in ("chain", "examine", "verify")),
        (
            "tests/outside/test_canonical_json.py",
            "tests/outside/test_sha256.py",
            *(
                f"tests/station/records/test_{name}.py"
                for name in ("chain", "attacks", "signatures", "names", "exports", "verify")
            ),
        ),
        ("test_every_altered_byte_of_every_body_is_found_and_named",),
    ),
}


@dataclass(frozen=True)
class Tried:
    """A mutant, where it was put, and what became of it: killed, survived or equivalent."""

    room: str
    module: str
    mutant: Mutant
    came: str

    def __str__(self) -> str:
        """Say where it is and what it changes."""
        old, new = (" ".join(text.split()) for text in (self.mutant.old, self.mutant.new))
        return f"{self.module}:{self.mutant.line}: {old} -> {new}"


def mutation(seed: int, size: int) -> Finding:
    """Try so many mutants, drawn from all rooms alike by their number."""
    drawn = _drawn(seed, size)
    tried: list[Tried] = []
    tell = Progress(len(drawn), "mutants")
    for each in trials(drawn):
        tried.append(each)
        left = [str(one) for one in tried if one.came == "survived"]
        tell(len(tried), f"{len(left)} survived")
    count = Counter((each.room, each.came) for each in tried)
    rooms = {
        room: {"tried": sum(count[room, came] for came in CAME)} | {came: count[room, came] for came in CAME}
        for room in ASKED
    }
    figures: dict[str, Any] = {"mutants": len(tried), "rooms": rooms, "survivors": left}
    words = f"Of {len(tried)} mutants {sum(count[room, 'killed'] for room in ASKED)} were killed by a test, "
    words += f"{sum(count[room, 'equivalent'] for room in ASKED)} change nothing, {len(left)} survived."
    return Finding(figures, "\n".join([words, *left]), not left)


CAME = ("killed", "equivalent", "survived")


def _drawn(seed: int, size: int) -> list[tuple[str, str, Mutant]]:
    every = [
        (room, module, mutant)
        for room, asked in ASKED.items()
        for module in asked.modules
        for mutant in mutants((ROOT / module).read_text(encoding="utf-8"))
    ]
    random.Random(seed).shuffle(every)  # noqa: S311 -- repeatable, no secret
    return every[:size]


def trials(drawn: list[tuple[str, str, Mutant]]) -> Iterator[Tried]:
    """Put each mutant in a copy of the tree and give what became of it."""
    known = {
        (each["module"], each["line"], each["old"], each["new"])
        for each in tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["mutant"]
    }
    for name in LOADED_BEFORE:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory(prefix="mutants-") as made:
        tree = Path(made) / "tree"
        for name in ROOMS:
            shutil.copytree(ROOT / name, tree / name, ignore=shutil.ignore_patterns("pictures"))
        shutil.copy(ROOT / "pyproject.toml", tree)
        sound_s: dict[str, float] = {}
        for room in sorted({room for room, _, _ in drawn}):
            began_s = time.monotonic()
            if _minded(tree, ASKED[room], 600):
                said = (tree.parent / "said").read_text(encoding="utf-8")
                raise RuntimeError(f"the tests of {room} fail without a mutant:\n{said}")
            sound_s[room] = time.monotonic() - began_s
        for room, module, mutant in drawn:
            if (module, mutant.text, mutant.old, mutant.new) in known:
                yield Tried(room, module, mutant, "equivalent")
                continue
            minded = _with(tree, module, mutant, ASKED[room], 20 + 5 * sound_s[room])
            yield Tried(room, module, mutant, "killed" if minded else "survived")


def _with(tree: Path, module: str, mutant: Mutant, room: Room, limit_s: float) -> bool:
    path = tree / module
    sound = path.read_text(encoding="utf-8")
    for compiled in path.parent.glob(f"__pycache__/{path.stem}.*.pyc"):
        compiled.unlink()  # it is told from its source by size and second, which a mutant may share
    path.write_text(mutant.within(sound), encoding="utf-8")
    try:
        return _minded(tree, room, limit_s, module)
    finally:
        path.write_text(sound, encoding="utf-8")


def _minded(tree: Path, room: Room, limit_s: float, module: str | None = None) -> bool:
    """Run a room's tests in a process of their own; tell whether one failed, or all took too long."""
    process = multiprocessing.get_context("fork").Process(target=_run_tests, args=(tree, room, module))
    process.start()
    process.join(limit_s)
    if process.is_alive():
        os.killpg(process.pid, 9)
        process.join()
        return True
    if process.exitcode not in (
        (0, 1, 2) if module is None else (0, 1, 2, 3)
    ):  # 3: a failure that upset its own report
        raise RuntimeError(f"the tests of {module or 'a sound tree'} ended with {process.exitcode}")
    return process.exitcode != 0


class _QuickestFirst:
    """Begins with the tests that took least the last time that all passed."""

    def __init__(self, path: Path) -> None:
        self._path, self._took_s = path, Counter[str]()

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        if self._path.exists():
            known_s = json.loads(self._path.read_text(encoding="utf-8"))
            items.sort(key=lambda item: known_s.get(item.nodeid, 0.0))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self._took_s[report.nodeid] += report.duration

    def pytest_sessionfinish(self, exitstatus: int) -> None:
        if exitstatus == 0:
            known_s = json.loads(self._path.read_text(encoding="utf-8")) if self._path.exists() else {}
            self._path.write_text(json.dumps(known_s | self._took_s), encoding="utf-8")


def _run_tests(tree: Path, room: Room, module: str | None) -> None:
    os.setsid()
    os.chdir(tree)
    sys.dont_write_bytecode = module is not None
    sys.path[:] = [str(tree), *(each for each in sys.path if Path(each or ".").resolve() != ROOT)]
    for name in [name for name in sys.modules if name.partition(".")[0] in ROOMS]:
        del sys.modules[name]
    with (tree.parent / "said").open("w") as said:
        os.dup2(said.fileno(), 1)
        os.dup2(said.fileno(), 2)
    words = ["-q", "-x", "-n0", "-p", "no:cacheprovider", f"--basetemp={tree.parent / 'tmp'}"]
    words += ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # what is loaded before
    if room.left_out:
        words += ["-k", " and ".join(f"not {each}" for each in room.left_out)]
    came = int(pytest.main([*words, *room.tests, *room.modules], [_QuickestFirst(tree.parent / "took.json")]))
    name = (module or room.modules[0]).removesuffix(".py").replace("/", ".")
    loaded = sys.modules.get(name)
    if came == 0 and (loaded is None or not str(loaded.__file__).startswith(str(tree))):
        came = 9  # what was tested was not the copy
    os._exit(came)


if __name__ == "__main__":
    sys.exit(run(__doc__, 400, "mutants", mutation))
