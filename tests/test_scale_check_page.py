from __future__ import annotations

import math
import shlex
from pathlib import Path

import pytest

from station.bench.hook import FEWEST_READINGS, READ_US, STEADY_US
from station.bench.weighing import AWAY_SHARE, AWAY_STEPS, STEADY_STEPS
from station.bench.weights import NEAR, Place, full_plan, read_weights
from station.measuring.hold import ScaleUncertainty, acceptance_limits
from station.measuring.scale_check import AIR_DENSITY, CLASSES, WEIGHT_DENSITY, local_gravity
from station.scale_today import VALID
from station.settings.hold import ready_made_hold
from station.units import force_n, in_unit
from tests.station.cli.commands import run

PAGE = Path(__file__).parent.parent / "docs/scale-check.md"
TEXT = PAGE.read_text(encoding="utf-8")
FLOWING = " ".join(TEXT.split())
PLACE = Place("47.5 deg", 300.0)


def block(first: str) -> str:
    """Give the indented block of the page that begins with a line."""
    lines = TEXT.splitlines()
    start = lines.index(f"    {first}")
    end = next(n for n in range(start, len(lines)) if lines[n] and not lines[n].startswith("    "))
    return "\n".join(line.removeprefix("    ") for line in lines[start:end]).rstrip() + "\n"


@pytest.fixture
def check_file(tmp_path: Path) -> Path:
    """Write the page's readings to a file."""
    file = tmp_path / "check.csv"
    file.write_text(block("run,direction,applied,indicated").partition("\n\n")[0] + "\n")
    return file


def test_the_readings_give_what_the_page_says(capfd: pytest.CaptureFixture[str], check_file: Path) -> None:
    """The command on the page, run on the readings on the page, prints what stands on the page."""
    command, _, printed = (
        block("run,direction,applied,indicated").partition("fidbench scale-check")[2].partition("\n\n")
    )
    words = shlex.split(command.replace("\\\n", " "))
    assert words[0] == "check.csv"
    ran = run(capfd, "scale-check", check_file, *words[1:])
    assert ran.status == 0
    assert [line.rstrip() for line in ran.out.splitlines()] == printed.rstrip().splitlines()


def test_the_figures_of_u_are_computed(capfd: pytest.CaptureFixture[str], check_file: Path) -> None:
    """U with and without the latitude, and what it proves in the band of the main hold, are those of the page."""
    shared = ("--at", "30 lbf", "--capacity", "100 lbf", "--resolution", "0.02 lbf", "--json")
    here = run(capfd, "scale-check", check_file, "--latitude", "47.5 deg", "--height", "300 m", *shared).json
    anywhere = run(capfd, "scale-check", check_file, *shared).json
    known, unknown = (in_unit(each["expanded_uncertainty_n"], "lbf") for each in (here, anywhere))
    assert f"U grows from {known:.3f} lbf to {unknown:.3f} lbf" in FLOWING
    assert f"*scale checked today, ±{known:.2f} lbf*" in FLOWING
    hold = ready_made_hold("main-hmpe")
    low, high = (in_unit(limit / 1000, "lbf") for limit in (hold.low_mn, hold.high_mn))
    limits = acceptance_limits(hold, ScaleUncertainty(round(here["expanded_uncertainty_n"] * 1000), 1))
    assert limits is not None
    proven_low, proven_high = (in_unit(limit / 1000, "lbf") for limit in limits)
    assert (
        f"band from {low:.0f} to {high:.0f} lbf, a hold is proven from {proven_low:.2f} to {proven_high:.2f}" in FLOWING
    )


def test_the_weights_pull_what_the_page_says() -> None:
    """Forces, gravity's change with height, buoyancy, and the number of readings are computed."""
    weights = read_weights("5 kg, 10 kg, 15 kg, 20 kg", PLACE)
    pulls = [f"{in_unit(weight.applied_n, 'lbf'):.2f}" for weight in weights]
    assert f"which pull {', '.join(pulls[:-1])} and {pulls[-1]} lbf" in FLOWING
    latitude_rad = math.radians(47.5)
    lost = 1 - local_gravity(latitude_rad, 300.0) / local_gravity(latitude_rad)
    assert f"{lost:.3%} for 300 m".replace("%", " %") in FLOWING
    assert f"carries {AIR_DENSITY / WEIGHT_DENSITY:.3%} of a weight".replace("%", " %") in FLOWING
    assert f"With four weights there are {len(full_plan(weights))} readings" in FLOWING
    nearest = min(weights, key=lambda weight: abs(weight.applied_n - force_n("30 lbf")))
    assert f"here {nearest.text}" in FLOWING


def test_the_rules_on_the_page_are_the_programs() -> None:
    """Steady, the doubt, the class names, the year and the daily weight's range are those the program keeps."""
    assert (FEWEST_READINGS, STEADY_STEPS, AWAY_STEPS, READ_US) == (5, 3, 5, 1_000_000)
    assert f"last {STEADY_US / 1e6} s, five of them at least, spread over no more than three steps" in FLOWING
    assert f"within {AWAY_SHARE * 100:g} % of what should hang there (or five steps)" in FLOWING
    assert "the mean of the last second" in FLOWING
    assert f"all of these keep: {', '.join(CLASSES)}" in FLOWING
    assert f"valid for {VALID.days} days" in FLOWING
    low, high = (30 * share for share in NEAR)
    assert f"{low:.1f} to {high:.1f} lbf" in FLOWING
