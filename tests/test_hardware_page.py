"""The page on hardware: what it quotes is what the program says and ships."""

from __future__ import annotations

import re
from inspect import signature
from pathlib import Path

from drivers.capture import read_lines
from drivers.events import LinkLost, LinkUp
from drivers.link import LinkSettings
from drivers.pedal import Pedal
from drivers.server_watch import ASK_EVERY_US
from drivers.unread import AFTER_US

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs/hardware.md").read_text(encoding="utf-8")


def test_every_ready_description_is_named() -> None:
    """The table of ready descriptions names those that are there, and no other."""
    named = set(re.findall(r"^\| `([a-z-]+)` \| (?:a |sign|status|value)", PAGE, re.MULTILINE))
    assert named == {path.stem for path in (ROOT / "config/scales").glob("*.toml")}


def test_the_capture_shown_is_one() -> None:
    """The capture that the page shows can be read."""
    shown = [
        line.strip() for line in PAGE.partition("what became of the port:\n")[2].partition("\nWrite")[0].splitlines()
    ]
    lines = read_lines("docs/hardware.md", [line for line in shown if line])
    assert [type(line) for line in (lines[0], lines[-1])] == [LinkUp, LinkLost]
    assert len(lines) == 3


def test_the_times_on_the_page_are_the_programs() -> None:
    """How soon silence, garbage, a foot that stays down and a server that hangs are told is what the drivers keep."""
    page = " ".join(PAGE.split())
    silence_us = LinkSettings("/dev/none").silence_us
    assert silence_us is not None
    stuck_us = signature(Pedal).parameters["stuck_us"].default
    assert f"falls silent is noticed within {silence_us / 1e6:g} s" in page
    assert f"for {AFTER_US / 1e6:g} s bytes came, and no reading" in page
    assert f"down for {stuck_us / 1e6:g} s, also from the moment its port opened" in page
    assert f"asked for its port's speed every {ASK_EVERY_US / 1e6:g} s" in page


def test_what_it_quotes_is_said() -> None:
    """Each sentence in the table of broken cables stands in the drivers that say it."""
    said = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "drivers").glob("*.py"))
    table = PAGE.partition("| it says | it means | do |\n|---|---|---|\n")[2].partition("\n\n")[0]
    sentences = [line.split(" | ")[0].removeprefix("| ") for line in table.splitlines()]
    assert len(sentences) == 18
    for sentence in sentences:
        for piece in re.split(r"\.\.\.|\bscale\b|\b2 s\b", sentence):
            assert piece.strip(" ,()") in said, sentence
