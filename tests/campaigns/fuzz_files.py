"""Mutated files and command lines: `python -m tests.campaigns.fuzz_files --json [--seed N] [--size TRIES]`.

Good files (stations, holds, materials, plans, relines, trials, sets, traces, scale checks, captures, exports) are
mutated: lines cut, doubled or gone, numbers absurd. The loader must take such a file or refuse it in a fault that names
it. The command lines that read them, and those that read an archive or nothing at all, are mutated too, word by word:
each must end with status 0, 1, 2 or 3, and without a traceback. Left out are `open` and `demo`, which open windows, and
`simulate`, which without its options serves until it is stopped.
"""

from __future__ import annotations

import contextlib
import io
import random
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Container
from pathlib import Path
from typing import Any

from drivers.capture import read_capture
from simulators.scenarios import SCENARIOS
from simulators.serve import station_toml
from station.cli import main as fidbench
from station.faults import is_fault
from station.settings.hold import load_hold
from station.settings.line_table import load_line_table
from station.settings.materials import load_material
from station.settings.plan import load_plan
from station.settings.reline import job_text
from station.settings.station import load_station
from station.settings.trials import load_trials
from tests.campaigns.campaign import Finding, Progress, of_tries, run

ROOT = Path(__file__).parent.parent.parent
ABSURD = (
    "-1",
    "0",
    "1e999",
    "nan",
    "99999999999999999999",
    "''",
    '""',
    "[]",
    "{}",
    "true",
    "1 lbf",
    "\\u0000",
    "\0",
    "é",
)
SET = "line,side,length,chart\nA1,L,120 in,120 in\nA1,R,120 1/2 in,120 in\nA2,L,121 in,121 in\nA2,R,121 in,121 in\n"
TRACE = "time_s,force,unit,status\n" + "".join(f"{number / 10},{30 + number % 3},lbf,stable\n" for number in range(60))
TRIALS = "trap,shortening\n5 in,0.31 in\n7 in,0.43 in\n9 in,0.56 in\n4 in,0.25 in\n"
UP, DOWN = (0, 5, 10, 15, 20), (15, 10, 5, 0)
CHECK = "run,direction,applied,indicated\n" + "".join(
    f"{number},{direction},{kg} kg,{kg * 9.808 + number / 100:.2f} N\n"
    for number, direction, weights in ((1, "up", UP), (2, "up", UP), (3, "up", UP), (3, "down", DOWN))
    for kg in weights
)
CAPTURES = ROOT / "tests" / "captures"
RATED_MN = 3_225_000  # 725 lbf, for limits that are shares of the line's strength
HOLD = ["--hold", str(ROOT / "config/holds/main-hmpe.toml"), "--rated-strength", "725 lbf"]


# Every command that ends by itself, in a folder of its own. FILE is a mutated file, NEW a name that nothing has yet,
# ARCHIVE an archive, STATION a station file whose scale is FILE.
CHECKED = [
    "scale-check",
    "FILE",
    "--at",
    "30 lbf",
    "--latitude",
    "47.5 deg",
    "--height",
    "300 m",
    "--capacity",
    "100 lbf",
]
LISTENED = ["listen", "FILE", "--for", "0.1 s"]
HELD = ["hold", "--station", "STATION", "--timeout", "1 s", *HOLD]
ADJUSTED = ["adjust", "FILE", "--line", "A", "--residual", "+1/8 in", "--metric"]
SHRUNK = ["shrinkage", "FILE", "--trap", "6 in", "--plot", "NEW.svg"]
WITHOUT_FILE = (
    ["braid", "--angle", "12 deg", "--area-ratio", "0.8"],
    ["braid", "--flat-width", "3 mm", "--picks", "30", "--carriers", "16"],
    ["board", "--out", "NEW.pdf", "--paper", "a4"],
    ["ports"],
    ["checkup", "--archive", "ARCHIVE"],
    ["control", "--archive", "ARCHIVE", "--of", "hold-means", "--by", "rigger", "--chart", "NEW.svg"],
    ["trials", "--archive", "ARCHIVE", "--lot", "L", "--csv", "NEW.csv"],
    ["trials", "--archive", "ARCHIVE", "--leave-out", "7", "--by", "A", "--reason", "B"],
    ["records", "list", "--archive", "ARCHIVE"],
    ["records", "find", "--archive", "ARCHIVE", "--lot", "L", "--from", "2026-01-01"],
    [
        "records",
        "revisit",
        "--archive",
        "ARCHIVE",
        "--scale",
        "/dev/serial/by-id/usb-bench-scale",
        "--uncertainty",
        "1 lbf",
        "--workers",
        "1",
    ],
    ["records", "show", "26-0001", "--archive", "ARCHIVE"],
    ["records", "report", "26-0001", "--archive", "ARCHIVE", "--out", "NEW.pdf"],
    ["records", "verify", "--archive", "ARCHIVE", "--workers", "1"],
    ["records", "export", "--archive", "ARCHIVE", "--form", "csv", "--out", "NEW.csv"],
    ["records", "backup", "NEW.sqlite", "--archive", "ARCHIVE"],
)


def mutated(chance: random.Random, text: str) -> bytes:
    """Give a text with a few things wrong with it."""
    for _ in range(chance.randint(1, 3)):
        lines = text.splitlines(keepends=True) or [""]
        at = chance.randrange(len(lines))
        match chance.randint(0, 5):
            case 0:
                del lines[at]
            case 1:
                lines.insert(at, chance.choice(lines))
            case 2:
                lines[at] = re.sub(r"[0-9.]+", lambda _: chance.choice(ABSURD), lines[at], count=1)
            case 3:
                place = chance.randint(0, len(lines[at]))
                lines[at] = lines[at][:place] + chance.choice(ABSURD) + lines[at][place:]
            case 4:
                lines[at] = lines[at][: chance.randint(0, len(lines[at]))]
            case _:
                lines[at] = re.sub(r'"[^"]*"', lambda _: chance.choice(ABSURD), lines[at], count=1)
        text = "".join(lines)
    raw = text.encode("utf-8", "surrogatepass")
    return raw + chance.randbytes(3) if chance.random() < 0.05 else raw


def files() -> list[tuple[str, str, Callable[[Path], Any] | None, list[str]]]:
    """Give good files: suffix, text, loader, and the command line that reads it, `FILE` standing for the file."""
    found: list[tuple[str, str, Callable[[Path], Any] | None, list[str]]] = [
        (".toml", station_toml(SCENARIOS[name], "/dev/none-such", "/dev/none"), load_station, [])
        for name in ("steady", "by-modbus", "by-scpi", "on-the-network")
    ]
    more: tuple[tuple[str, Callable[[Path], Any], list[str]], ...] = (
        ("config/holds/*", lambda path: load_hold(path, RATED_MN), []),
        ("config/lines/*", load_material, []),
        ("config/jobs/one-*", load_plan, ["marks", "FILE"]),
        ("config/jobs/lower-control", load_plan, ["marks", "FILE", "--drawing", "NEW.svg", "--mirror"]),
        ("config/jobs/one-cascade", load_plan, ADJUSTED),
        ("config/jobs/whole-*", job_text, []),
    )
    found += [
        (".toml", path.read_text(encoding="utf-8"), load, words)
        for where, load, words in more
        for path in sorted(ROOT.glob(f"{where}.toml"))
    ]
    found.append((".csv", SET, load_line_table, ["trim", "FILE", "--tolerance", "1/2 in"]))
    found.append((".csv", TRIALS, load_trials, SHRUNK))
    found.append((".csv", CHECK, None, CHECKED))
    capture = (CAPTURES / "pulled-plug.capture").read_text(encoding="ascii")
    found += [(".capture", capture, read_capture, words) for words in (LISTENED, HELD)]
    found.append((".csv", TRACE, None, ["judge", "FILE", *HOLD]))
    return found


def told_by_loader(path: Path, load: Callable[[Path], Any]) -> str | None:
    """Load a file; give what is wrong with the answer, or None."""
    try:
        load(path)
    except Exception as fault:  # whatever is raised is what is looked for
        if not is_fault(fault):
            return f"{path.name}: {load!r} raised {fault!r:.300}"
        if str(path) not in str(fault):
            return f"{path.name}: {load!r} does not name the file: {fault}"
    return None


def told_by_command(words: list[str], allowed: Container[int] = range(4)) -> str | None:
    """Run a command in this process; give what is wrong with its end, or None."""
    before, sys.argv = sys.argv, ["fidbench", *words]
    out, err = io.StringIO(), io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            fidbench()
        status: Any = 0
    except SystemExit as end:
        status = end.code or 0
    except BaseException as fault:  # whatever is raised is what is looked for
        return f"{words} raised {fault!r:.300}"
    finally:
        sys.argv = before
    if status not in allowed or "Traceback" in err.getvalue():
        return f"{words} ended with {status!r}: {err.getvalue()[-200:]}"
    return None


def mutated_words(chance: random.Random, words: list[str]) -> list[str]:
    """Give a command line with, now and then, a word too many or another in its place."""
    line = [*words]
    for _ in range(chance.choice((0, 0, 1, 2))):
        at = chance.randint(1, len(line))
        # No system hands on a NUL. A word too few is one option without its value, then another one's.
        word = chance.choice([*(each for each in ABSURD if "\0" not in each), "--json", "--nothing", "", "\x07"])
        line[at : at + chance.randint(0, 1)] = [word]
    return line


class Bench:
    """A folder in which commands are tried: an archive, and names for what they read and write."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        shutil.copy(CAPTURES / "archive-layout-1.sqlite", folder / "archive.sqlite")
        for path in (ROOT / "config" / "jobs").glob("*.toml"):  # a reline names its plans beside it
            shutil.copy(path, folder)
        self.count = 0
        whole = self.folder / "whole.jsonl"
        told_by_command(["records", "export", "--archive", str(folder / "archive.sqlite"), "--out", str(whole)])
        self.export = whole.read_text(encoding="utf-8")

    def named(self, words: list[str], path: Path) -> list[str]:
        """Give a command line with its files; writes the station that reads `path`."""
        self.count += 1
        if "STATION" in words:
            station = station_toml(SCENARIOS["steady"], str(path), "/dev/none")
            (self.folder / "station.toml").write_text(station, encoding="utf-8")
        names = {"FILE": path, "STATION": self.folder / "station.toml", "ARCHIVE": self.folder / "archive.sqlite"}
        line = [str(names.get(word, word)) for word in words]
        return [word.replace("NEW", str(self.folder / f"new-{self.count}")) for word in line]


def fuzz(seed: int, tries: int) -> Finding:
    """Try so many files and command lines."""
    chance = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    good, wrong = files(), []
    tell = Progress(tries, "tries")
    with tempfile.TemporaryDirectory(prefix="fidbench-fuzz-") as folder, contextlib.chdir(folder):
        bench = Bench(Path(folder))
        good.append((".jsonl", bench.export, None, ["records", "import", "FILE", "--archive", "NEW.sqlite"]))
        for number in range(tries):
            if chance.random() < 0.25:
                line = mutated_words(chance, bench.named(chance.choice(WITHOUT_FILE), Path(folder)))
                said, raw = told_by_command(line), b""
            else:
                suffix, text, load, words = chance.choice(good)
                path = Path(folder, f"mutated{suffix}")
                raw = mutated(chance, text)
                path.write_bytes(raw)
                said = told_by_loader(path, load) if load is not None else None
                if said is None and words:
                    said = told_by_command(mutated_words(chance, bench.named(words, path)))
            if said:
                wrong.append(f"seed {seed}, try {number}: {said}; from {raw[:4000]!r}")
            tell(number + 1, f"{len(wrong)} wrong")
    return of_tries(tries, wrong)


if __name__ == "__main__":
    sys.exit(run(__doc__, 20_000, "tries", fuzz))
