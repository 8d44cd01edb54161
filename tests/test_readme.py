from __future__ import annotations

import re
import tomllib
from pathlib import Path

import click
import pytest

from station.cli import COMMANDS, group
from station.display import QT_PACKAGES

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


def test_what_the_readme_counts_and_needs_is_so() -> None:
    """The checker's length, the oldest Python and the packages of a bare Debian are those of the files themselves."""
    assert "`docs/check_record.py` is under 100 lines" in README
    assert len((ROOT / "docs" / "check_record.py").read_text(encoding="utf-8").splitlines()) < 100
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert f"Python {project['requires-python'].removeprefix('>=')} or later" in README
    assert f"`{QT_PACKAGES}`" in README
