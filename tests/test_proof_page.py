from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

from tests.benchmarks.__main__ import campaigns
from tests.campaigns.campaign import every

PAGE_OF = Path(__file__).parent.parent / "docs"
PAGE = (PAGE_OF / "proof.md").read_text(encoding="utf-8")
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


def test_the_page_names_every_campaign() -> None:
    """What can be run by seed and size stands on the page."""
    named = {f"python -m {module} --json" for module, _ in COMMANDS}
    assert {each.command for each in every()} <= named


def test_the_figures_list_every_campaign() -> None:
    """The page of figures has the rows that its writer makes of the campaigns' own files, and no other."""
    figures = (PAGE_OF / "figures.md").read_text(encoding="utf-8")
    assert figures.endswith("\n".join([*campaigns(), ""]))
    assert len(every()) == sum(
        "    sys.exit(run(" in each.read_text(encoding="utf-8") for each in CAMPAIGNS.glob("*.py")
    )


def test_the_page_of_a_reline_has_the_figures_measured() -> None:
    """What a reline asks of a rigger's time stands on its page as it stands among the figures."""
    figures = (PAGE_OF / "figures.md").read_text(encoding="utf-8")
    told = (PAGE_OF / "reline.md").read_text(encoding="utf-8")
    by_line = re.search(r"whole reline of .* demands, by line \| ([0-9.]+) \|", figures)
    by_main = re.search(r"the same by main line, its cascade in it \| ([0-9.]+) \|", figures)
    assert by_line is not None
    assert by_main is not None
    assert f"{by_line[1]} s a line" in told
    assert f"{by_main[1]} s a main line" in told
