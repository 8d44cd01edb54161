"""The guide: every command on every page can be called as it is printed, every link leads somewhere."""

from __future__ import annotations

import importlib.util
import re
import shlex
from pathlib import Path

import click
import pytest

from station.cli import COMMANDS, group
from station.records.words import BLIND_SPOTS, CAUTIONS

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
