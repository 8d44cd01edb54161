from __future__ import annotations

import re
from pathlib import Path

import click
import pytest

from station.cli import COMMANDS, group

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_check_command_runs_the_readmes_test_line() -> None:
    """`.ci/run` calls the very line that the README gives for the tests."""
    line = next(line.strip() for line in README.splitlines() if "pip install" in line and "[test]" in line)
    assert line in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("command", sorted(set(re.findall(r"(?:`|bin/|uv run )fidbench ([a-z-]+)", README))))
def test_every_command_in_the_readme_exists(command: str) -> None:
    """Each command the README names can be called, and its help says what it does."""
    assert command in COMMANDS
    found = group.get_command(click.Context(group), command)
    assert found is not None
    assert found.help


@pytest.mark.parametrize("link", sorted(set(re.findall(r"\]\(([^)]+)\)", README))))
def test_every_file_the_readme_shows_is_there(link: str) -> None:
    """Pictures and files the README links to exist."""
    assert link.startswith("https://") or (ROOT / link).exists()
