"""Two seconds of the campaign of hostile bytes."""

from __future__ import annotations

from tests.campaigns import fuzz_files
from tests.campaigns.fuzz import fuzz


def test_hostile_bytes_find_nothing() -> None:
    """No decoder and no template raises, hangs, grows, loses bytes, or tells chunks another way than the whole."""
    found = fuzz(seed=5, seconds=2)
    assert found["first"] == []
    assert found["tried"] > 100


def test_mutated_files_and_commands_find_nothing() -> None:
    """Every mutated file is taken or refused by name, and every command on one ends with a status and no traceback."""
    assert fuzz_files.fuzz(seed=5, tries=60)["first"] == []
