"""The guide: every command on every page can be called as it is printed, every link leads somewhere."""

from __future__ import annotations

import importlib.util
import math
import re
import shlex
from pathlib import Path

import click
import pytest

from drivers.modbus_rtu import ModbusFormat
from station.bench.bench import ARMED_US, READ_US, SHOWN_US
from station.cli import COMMANDS, group
from station.measuring.hold import VOID_REASONS
from station.records.words import BLIND_SPOTS, CAUTIONS
from station.units import force_n, length_m

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
_FIDBENCH = re.compile(r"(?:^ {4,}|`)(?:\.venv/bin/)?(fidbench (?:[^`\n]|(?<=\\)\n)+)", re.MULTILINE)
_MODULE = re.compile(r"python -m (tests\.[a-z_.]+)")


def _printed(pattern: re.Pattern[str]) -> list[tuple[str, str]]:
    found = {(page.name, text) for page in PAGES for text in pattern.findall(page.read_text(encoding="utf-8"))}
    return sorted(found)


@pytest.mark.parametrize(("page", "printed"), _printed(_FIDBENCH))
def test_a_command_on_a_page_is_one(page: str, printed: str) -> None:
    """The command exists, and so does every option that is printed with it."""
    words = shlex.split(printed.partition(" > ")[0].replace("\\\n", " "), comments=True)[1:]
    if words[0].startswith("-"):
        return
    assert words[0] in COMMANDS, page
    command = group.get_command(click.Context(group), words[0])
    if isinstance(command, click.Group) and len(words) > 1 and not words[1].startswith("-"):
        command = command.commands[words[1]]
    assert command is not None
    known = {option for each in command.params for option in each.opts} | {"--help"}
    assert {word for word in words if word.startswith("--")} <= known, f"{page}: {printed}"


@pytest.mark.parametrize(("page", "module"), _printed(_MODULE))
def test_a_campaign_on_a_page_is_there(page: str, module: str) -> None:
    """What a figure is said to come from can be run."""
    assert importlib.util.find_spec(module) is not None, page


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_leads_somewhere(page: Path) -> None:
    """Pages, pictures and headings that a page links to are there."""
    for link in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
        if not link.startswith("https://"):
            assert (page.parent / link.partition("#")[0]).exists(), link


def test_the_safety_page_says_what_the_program_says() -> None:
    """Each caution that the record prints, and each thing the bench cannot see, stands on the page."""
    page = " ".join((ROOT / "docs/safety.md").read_text(encoding="utf-8").replace("*", "").split())
    for told in CAUTIONS:
        for sentence in told.split(". "):
            assert sentence.rstrip(".") in page, sentence
    for told in BLIND_SPOTS:
        for part in told.split(": "):
            assert part.partition(",")[0] in page, part


def _flowing(page: str) -> str:
    return " ".join((ROOT / "docs" / page).read_text(encoding="utf-8").split())


def test_the_figures_of_the_safety_page_are_worked_out() -> None:
    """The energy in a stretched line and what is lost off the axis follow from the pull, the stretch and the angle."""
    energy_j = force_n("30 lbf") * length_m("1 in") / 2
    assert f"30 lbf over 1 in is {energy_j:.1f} J" in _flowing("safety.md")
    lost = f"{100 * (1 - math.cos(math.radians(10))):.1f} %"
    assert f"10 degrees off the axis is {lost} of the pull" in _flowing("safety.md")
    assert f"10 degrees is {lost}" in _flowing("hold.md")


def test_the_first_day_has_the_times_that_the_foot_keeps() -> None:
    """How long a check is shown before a tap counts, and how far apart two taps arm the foot, are the bench's own."""
    assert SHOWN_US == 2_000_000
    assert "takes its tap only after it has been shown for two seconds" in _flowing("first-day.md")
    assert ARMED_US[0] < 2_000_000 < ARMED_US[1]
    assert READ_US == 1_000_000
    assert "once what it answers has been shown for a second" in _flowing("first-day.md")
    assert "armed by two taps, two seconds apart" in _flowing("first-day.md")


def test_the_hold_page_has_the_programs_reasons_and_holds() -> None:
    """The reasons for void stand in the order in which they are given, and the ready-made holds are counted."""
    page = _flowing("hold.md")
    assert f"| **void** | {', '.join(f'`{reason}`' for reason in VOID_REASONS)} |" in page
    counted = {3: "three", 4: "four", 5: "five", 6: "six"}[len([*(ROOT / "config/holds").glob("*.toml")])]
    assert f"`config/holds/` has {counted} ready-made ones" in page


def test_the_keys_of_a_modbus_scale_have_the_values_on_the_page() -> None:
    """What stands in the last column of the hardware page's table is what the format takes unless told."""
    page = (ROOT / "docs/hardware.md").read_text(encoding="utf-8")
    form = ModbusFormat(unit="N", register=0, number="float32")
    for key in ("address", "function", "word_order", "factor"):
        (row,) = (line for line in page.splitlines() if line.startswith(f"| `{key}` |"))
        said = row.rstrip("| ").rpartition("| ")[2].strip("`")
        taken = getattr(form, key)
        assert said == (taken if isinstance(taken, str) else f"{taken:g}")
