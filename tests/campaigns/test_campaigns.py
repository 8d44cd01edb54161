"""Small runs of the campaigns, and what they are made of."""

from __future__ import annotations

import dataclasses
import importlib
import json
import subprocess
import sys
import tomllib

import numpy as np
import pytest

from drivers.events import Reading
from tests.campaigns import truth
from tests.campaigns.campaign import limits_95, run, upper_95
from tests.campaigns.landing import landing
from tests.campaigns.mutation import EQUIVALENT, ROOT
from tests.campaigns.pulls import GRID_US, DrawnPull, drawn
from tests.campaigns.tamper import tamper
from tests.campaigns.truth import averaged, longest_us, moving, stopwatch, studied

SMALL = {"truth": 60, "unplug": 2, "disk": 1, "clock": 1, "landing": 4}
KEYS = {
    "truth": {
        "holds",
        "false_held",
        "false_held_upper_95",
        "false_held_at_limit",
        "clean_holds",
        "false_not_held",
        "stopwatch_false_held",
        "average_false_held",
    },
    "landing": {"shops", "by_job"},
}


@pytest.mark.parametrize("name", SMALL)
def test_a_small_campaign_finds_nothing_wrong(
    name: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Run as a person runs it, each prints one JSON document with its keys, tells its progress, and ends with 0."""
    campaign = importlib.import_module(f"tests.campaigns.{name}")
    size = SMALL[name]
    monkeypatch.setattr("sys.argv", [name, "--json", "--seed", "7", "--size", str(size)])
    work = getattr(campaign, name)
    assert campaign.run(campaign.__doc__, 1, "things", work) == 0
    printed = capsys.readouterr()
    found = json.loads(printed.out)
    assert set(found) >= KEYS.get(name, {"tried", "survived", "lost"})
    assert found.get("lost", 0) == found.get("false_held", 0) == 0
    assert f"{size} of {size}" in printed.err


@pytest.mark.parametrize("size", ["0", "-1", "nan", "inf", "many"])
def test_a_size_that_is_none_is_refused_in_words(
    size: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is not more than nothing, or without an end, is named with what was expected; nothing is tried."""
    monkeypatch.setattr("sys.argv", ["soak", "--json", "--size", size])
    with pytest.raises(SystemExit) as left:
        run("story", 8.0, "hours", lambda *_: pytest.fail("it was tried"))
    printed = capsys.readouterr()
    assert (left.value.code, printed.out) == (2, "")
    assert size in printed.err


def test_without_json_a_sentence_is_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A person reads a sentence."""
    monkeypatch.setattr("sys.argv", ["truth", "--size", "4"])
    assert truth.run(truth.__doc__, 1, "holds", truth.truth) == 0
    assert capsys.readouterr().out.startswith("Of 4 holds whose true tension is known, ")


def test_the_same_seed_draws_the_same_pull() -> None:
    """A pull is that of its seed and number, whoever draws it, and another number's is another."""
    one, again, other = drawn(3, 5), drawn(3, 5), drawn(3, 6)
    assert (one.true_n.tobytes(), one.wire, one.scale, one.fault) == (
        again.true_n.tobytes(),
        again.wire,
        again.scale,
        again.fault,
    )
    assert one.true_n.tobytes() != other.true_n.tobytes()


def test_a_false_hold_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the wire tells of a steady pull and the true one slips far and long, *held* is told as false."""

    def steady(pull: DrawnPull) -> list[Reading]:
        stamps = range(0, len(pull.true_n) * GRID_US, 50_000)
        return [Reading(at, pull.specification.target_mn / 1000, "N", None, at) for at in stamps]

    monkeypatch.setattr(truth, "readings_of", steady)
    pull = drawn(1, 1)
    target_n, low_n = pull.specification.target_mn / 1000, pull.specification.low_mn / 1000
    true_n = np.full(round(2.2 * pull.specification.duration_us / GRID_US), target_n)
    assert not studied(dataclasses.replace(pull, true_n=true_n)).false_held
    blind = (pull.scale.settling_us + 50_000) // GRID_US
    for depth_n, rows, false, at_limit in (
        (1.5 * pull.expanded_mn / 1000, blind + 2, True, False),
        (1.5 * pull.expanded_mn / 1000, blind, False, False),
        (0.5 * pull.expanded_mn / 1000, blind + 2, False, True),
    ):
        slips_n = true_n.copy()
        slips_n[300 : 300 + rows] = low_n - depth_n
        came = studied(dataclasses.replace(pull, true_n=slips_n))
        assert (came.verdict, came.false_held, came.at_limit) == ("held", false, at_limit)


def test_a_state_lasts_from_its_first_value_to_its_last() -> None:
    """The longest of several stretches counts, by the least it can have lasted."""
    assert longest_us(np.array([True, True, False, True, True, True, False])) == 2 * GRID_US
    assert longest_us(np.array([False, False])) == 0


def test_the_plain_methods_do_what_their_names_say() -> None:
    """The stopwatch looks twice and sees no dip; the average sees a long one, and forgives a short one."""
    at_us = np.arange(0, 8_000_000, 100_000)
    force_n = np.full(len(at_us), 30.0)
    force_n[20:30] = 20.0
    in_band = force_n >= 28
    assert stopwatch(at_us, in_band, 5_000_000) == (0, 5_000_000)
    assert stopwatch(at_us, in_band, 2_500_000) is None
    mean_n = moving(at_us, force_n)
    assert mean_n[0] == mean_n[19] == mean_n[45] == pytest.approx(30.0)
    assert mean_n[29] == pytest.approx(20.0)
    assert averaged(at_us, mean_n >= 28, 5_000_000) is None
    force_n[21:30] = 30.0
    assert averaged(at_us, moving(at_us, force_n) >= 28, 5_000_000) == (0, 5_000_000)


def test_the_campaigns_limits_are_those_of_clopper_and_pearson() -> None:
    """None of n gives 1 - 0.05^(1/n) at one side, 1 - 0.025^(1/n) at two; all of n the mirror of it."""
    assert upper_95(0, 50) == pytest.approx(1 - 0.05 ** (1 / 50), rel=1e-12)
    assert limits_95(0, 50) == (0.0, pytest.approx(1 - 0.025 ** (1 / 50), abs=1e-4))
    assert limits_95(50, 50) == (pytest.approx(0.025 ** (1 / 50), abs=1e-4), 1.0)
    assert upper_95(3, 3) == 1.0


def test_every_attack_that_can_be_found_is_found() -> None:
    """What an attack leaves is found, but for what by nature cannot be, which is told by name."""
    found = tamper(1, 0)
    assert found.good, found.figures["attacks_missed"]
    assert len(found.figures["attacks"]) > len(found.figures["not_to_be_found_by_nature"]) > 3


def test_a_shop_learns_from_its_own_traps() -> None:
    """From the first job to the tenth more lines land level at the first try; with 3/8 in for every trap no more do."""
    rows = {row["job"]: row for row in landing(2, 8).figures["by_job"]}
    learned = {job: row["learned"]["1/16 in"]["share"] for job, row in rows.items()}
    assert learned[10] > learned[1]
    assert learned[50] > rows[50]["fixed"]["1/16 in"]["share"]


def test_a_mutant_that_is_said_to_change_nothing_still_stands_there() -> None:
    """Each is told with its reason, once, and what it changes is still in its module."""
    known = tomllib.loads(EQUIVALENT.read_text(encoding="utf-8"))["mutant"]
    places = [(each["module"], each["line"], each["old"], each["new"]) for each in known]
    assert len(places) == len(set(places))
    for module, line, old, _ in places:
        lines = [each.strip() for each in (ROOT / module).read_text(encoding="utf-8").splitlines()]
        assert line in lines, f"{module} has no such line any more, take it out of {EQUIVALENT.name}: {line}"
        assert old in line
    assert all(each["why"] for each in known)


def test_mutants_are_killed_by_the_tests_of_their_room() -> None:
    """A few of the checksums' mutants are put into a copy of the tree: some die, and each that does not is told."""
    asked = "{'sums': m.Room(('drivers/checksums.py',), ('tests/drivers/test_checksums.py',))}"
    words = f"import json; from tests.campaigns import mutation as m; m.ASKED = {asked}; "
    words += "print(json.dumps(m.mutation(1, 3).figures))"
    ran = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=False, cwd=ROOT)
    figures = json.loads(ran.stdout)
    (came,) = figures["rooms"].values()
    assert came["killed"] > 0
    assert came["tried"] == came["killed"] + came["equivalent"] + came["survived"] == 3
    assert len(figures["survivors"]) == came["survived"]
