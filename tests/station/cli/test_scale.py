from __future__ import annotations

import math
import random
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

sys.path.insert(0, str(Path(__file__).parent))
from commands import run

HEADER = "run,direction,applied,indicated"
# ISO 7500-1, table 2 (from memory): class -> limits of q, b, v, f0, a in percent.
LIMITS = {0.5: (0.5, 0.5, 0.75, 0.05, 0.25), 1: (1, 1, 1.5, 0.1, 0.5), 2: (2, 2, 3, 0.2, 1), 3: (3, 3, 4.5, 0.3, 1.5)}


def passes(points: tuple[int, ...] = (5, 30, 50), runs: int = 3) -> list[str]:
    """Give the rows of a good check in pounds: every run up, the first one down again, a zero at each end."""
    rows = []
    for number in range(1, runs + 1):
        rows += [f"{number},up,{force} lbf,{force} lbf" for force in (0, *points)]
        back = reversed((0, *points)) if number == 1 else (0,)
        rows += [f"{number},{'down' if number == 1 else 'up'},{force} lbf,{force} lbf" for force in back]
    return rows


def written(folder: Path, rows: list[str]) -> Path:
    """Write rows below the header, and give the file."""
    file = folder / "check.csv"
    file.write_text("\n".join([HEADER, *rows]) + "\n")
    return file


@pytest.mark.parametrize("seed", range(12))
def test_every_figure_comes_out_as_worked_by_hand(seed: int, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Class, errors, u, degrees of freedom, k and U of a check drawn at random are those of the plain formulas."""
    draw = random.Random(seed)  # noqa: S311 -- repeatable, no secret
    masses, runs, down = draw.choice([(5, 10, 20), (10, 30, 50), (4, 8, 12, 20)]), draw.choice([3, 4, 5]), seed % 2 + 1
    resolution_n, capacity_n = draw.choice([0.1, 0.5, 1.0]), draw.choice([300.0, 600.0])
    applied = [mass * 9.80665 * (1 - 1.2 / 8000) for mass in masses]
    gain, noise_n = draw.choice([1.0, 1.002, 0.99]), draw.choice([0.02, 0.3])
    rows: list[str] = []
    zeros: list[float] = []
    up: list[list[float]] = [[] for _ in masses]
    back: list[list[float]] = [[] for _ in masses]

    def zero(run_number: int, direction: str) -> None:
        zeros.append(draw.choice([0.0, 0.1, 0.3]))
        rows.append(f"{run_number},{direction},0 kg,{zeros[-1]} N")

    for number in range(1, runs + 1):
        zero(number, "up")
        ways = [("up", range(len(masses)), up)]
        if number <= down:
            ways.append(("down", range(len(masses) - 1, -1, -1), back))
        for direction, places, kept in ways:
            for place in places:
                kept[place].append(round(applied[place] * gain + draw.gauss(0, noise_n), 3))
                rows.append(f"{number},{direction},{masses[place]} kg,{kept[place][-1]} N")
        zero(number, ways[-1][0])
    at_n = draw.uniform(applied[0], applied[-1])
    found = run(
        capfd, "scale-check", written(tmp_path, rows), "--at", f"{at_n!r} N", "--json",
        "--resolution", f"{resolution_n} N", "--capacity", f"{capacity_n} N",
    )  # fmt: skip

    q = [[100 * (each - force) / force for each in seen] for seen, force in zip(up, applied, strict=True)]
    b = [max(each) - min(each) for each in q]
    v = [100 * (np.mean(d) - np.mean(u)) / force for u, d, force in zip(up, back, applied, strict=True)]
    a = [100 * resolution_n / force for force in applied]
    f0 = 100 * max(zeros) / capacity_n
    sizes = (max(abs(each) for point in q for each in point), max(b), max(map(abs, v)), f0, max(a))
    best = next(
        (name for name, most in LIMITS.items() if all(map(float.__le__, map(float, sizes), map(float, most)))), None
    )
    error_n = float(np.interp(at_n, applied, [np.mean(u) - force for u, force in zip(up, applied, strict=True)]))
    repetition_n = float(np.interp(at_n, applied, [np.std(u, ddof=1) for u in up])) * math.sqrt(1 + 1 / runs)
    others_n = [
        at_n * 0.0005 / math.sqrt(3),
        at_n * 0.0027 / math.sqrt(3),
        resolution_n / math.sqrt(6),
        float(np.interp(at_n, applied, np.abs(v))) * at_n / 100 / math.sqrt(3),
        max(zeros) / math.sqrt(3),
    ]
    u_n = math.hypot(repetition_n, *others_n)
    freedom = math.floor(u_n**4 / (repetition_n**4 / (runs - 1)))
    k = float(stats.t.ppf(0.5 + 0.9545 / 2, freedom))
    assert [each["error_pct"] for each in found.json["points"]] == pytest.approx([np.mean(each) for each in q])
    assert [each["repeatability_pct"] for each in found.json["points"]] == pytest.approx(b)
    assert [each["reversibility_pct"] for each in found.json["points"]] == pytest.approx(v)
    assert [each["resolution_pct"] for each in found.json["points"]] == pytest.approx(a)
    assert found.json["zero_error_pct"] == pytest.approx(f0)
    assert (found.json["class"], found.status) == (best, 0 if best else 1)
    assert found.json["standard_uncertainty_n"] == pytest.approx(u_n)
    assert found.json["uncorrected_error_n"] == pytest.approx(error_n)
    assert found.json["effective_degrees_of_freedom"] == freedom
    assert found.json["coverage_factor"] == pytest.approx(k)
    assert found.json["expanded_uncertainty_n"] == pytest.approx(k * u_n + abs(error_n))
    assert found.json["narrowest_band_n"] == pytest.approx(2 * (k * u_n + abs(error_n)))


def test_a_row_copied_is_no_run_more(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """One run whose rows stand three times is refused: it shows nothing of how the scale repeats."""
    rows = passes(runs=1)
    copied = [*rows[:1], *(row for row in rows[1:4] for _ in range(3)), *rows[4:]]
    found = run(capfd, "scale-check", written(tmp_path, copied), "--at", "30 lbf")
    assert found.status == 2
    assert "run 1: found 22.24 N twice on the way up, expected each point once" in found.err


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (passes()[1:], "run 1: found no zero before its points"),
        (passes()[:-1], "run 3: found no zero after its points"),
        (passes(runs=2), "runs up at 22.24 N: found 2, expected at least 3"),
        (passes(points=(5, 30)), "points above zero: found 2, expected at least 3"),
        ([row for row in passes() if "down,30" not in row], ": found none, expected at least 1"),
        ([], "found no loaded row"),
    ],
)
def test_what_is_no_check_is_refused(
    rows: list[str], words: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """A check without its zeros, runs or points is refused, and what is missing is named."""
    found = run(capfd, "scale-check", written(tmp_path, rows), "--at", "30 lbf")
    assert found.status == 2
    assert words in found.err


def test_a_height_without_a_latitude_is_said_to_count_for_nothing(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Height corrects the gravity of a latitude; alone it changes no figure, and that is said."""
    rows = [row.replace("lbf", "kg", 1) for row in passes()]
    file = written(tmp_path, rows)
    alone = run(capfd, "scale-check", file, "--at", "130 N", "--height", "1000 m", "--json")
    neither = run(capfd, "scale-check", file, "--at", "130 N", "--json")
    assert alone.json == neither.json
    assert "--height counts only with --latitude" in alone.err
    assert "--height" not in neither.err
