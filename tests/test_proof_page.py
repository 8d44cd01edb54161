from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

PAGE = (Path(__file__).parent.parent / "docs" / "proof.md").read_text(encoding="utf-8")
CAMPAIGNS = Path(__file__).parent / "campaigns"
COMMANDS = sorted(set(re.findall(r"python -m ([a-z_.]+)((?: --[a-z]+(?: \d+)?)*)", PAGE)))


@pytest.mark.parametrize(("module", "options"), COMMANDS)
def test_every_command_on_the_page_can_be_given(module: str, options: str) -> None:
    """Each command is there, and takes the options that the page gives it."""
    found = importlib.util.find_spec(module)
    assert found is not None
    assert found.origin is not None
    source = Path(found.origin).read_text(encoding="utf-8")
    shared = (CAMPAIGNS / "campaign.py").read_text(encoding="utf-8") if "campaign import" in source else ""
    assert all(f'"{option}"' in source + shared for option in re.findall(r"--[a-z]+", options))


def test_the_page_names_every_campaign_of_the_same_face() -> None:
    """What can be run by seed and size stands on the page."""
    alike = {each.stem for each in CAMPAIGNS.glob("*.py") if "campaign import" in each.read_text(encoding="utf-8")}
    named = {module.rpartition(".")[2] for module, _ in COMMANDS}
    assert {name for name in alike if not name.startswith("test_") and name != "bench_work"} <= named
