from __future__ import annotations

from pathlib import Path

import pytest

from tests.station.cli.commands import run
from tests.station.shop_year import Day, shop
from tests.station.test_in_control import STEADY


def test_in_control_ends_with_0_and_a_signal_with_1(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Steady figures end with 0; one far off ends with 1, is named, and is drawn and written where asked."""
    steady = shop(tmp_path / "a.sqlite", STEADY)
    of = ("--of", "first-try-differences", "--archive")
    assert run(capfd, "control", *of, steady).status == 0
    path = shop(tmp_path / "b.sqlite", [*STEADY, Day(9_000, rigger="Tobin Hask")])
    drawn, paper = tmp_path / "c.svg", tmp_path / "c.pdf"
    ran = run(capfd, "control", *of, path, "--chart", drawn, "--report", paper, "--json")
    assert ran.status == 1
    [chart] = ran.json["charts"]
    assert chart["state"] == "out of control"
    assert chart["signals"][0]["changed"] == {"rigger": ["Ansa Velling", "Tobin Hask"]}
    assert chart["figures"][20]["value"] == 0.009
    assert drawn.read_text(encoding="utf-8").startswith("<svg")
    assert paper.read_bytes().startswith(b"%PDF-")
    assert "beyond the upper limit" in run(capfd, "control", *of, path).out


def test_each_rigger_has_a_chart_of_their_own(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Apart by rigger each chart is drawn into a file of its own."""
    days = [Day(each.first_um, rigger=("Ansa Velling", "Tobin Hask")[n % 2]) for n, each in enumerate(STEADY)]
    path = shop(tmp_path / "a.sqlite", days)
    ran = run(
        capfd, "control", "--archive", path, "--of", "first-try-differences", "--by", "rigger", "--json", "--chart",
        tmp_path / "c.svg",
    )  # fmt: skip
    assert sorted(each["apart"] for each in ran.json["charts"]) == ["Ansa Velling", "Tobin Hask"]
    assert (tmp_path / "c-2.svg").exists()
    assert f"{tmp_path / 'c-2.svg'}: First-try differences  ·  Tobin Hask" in ran.err


def test_what_cannot_be_charted_is_said(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Nothing filed ends with 1 and says so; a figure nobody knows, or no archive, with 2."""
    path = shop(tmp_path / "a.sqlite", STEADY[:1])
    ran = run(capfd, "control", "--archive", path, "--of", "scale-errors")
    assert ran.status == 1
    assert ran.out.startswith("Nothing here to chart")
    assert run(capfd, "control", "--archive", path, "--of", "luck").status == 2
    assert run(capfd, "control", "--archive", tmp_path / "none", "--of", "hold-means").status == 2
