"""Two seconds of the campaign of hostile bytes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.campaigns import fuzz_files
from tests.campaigns.fuzz import fuzz


def test_hostile_bytes_find_nothing() -> None:
    """No decoder and no template raises, hangs, grows, loses bytes, or tells chunks another way than the whole."""
    found = fuzz(seed=5, seconds=2).figures
    assert found["first"] == []
    assert found["tried"] > 100


def test_the_files_that_are_mutated_are_good(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Untouched, each file is taken by its loader and its command, so that a mutation is what is tried."""
    monkeypatch.chdir(tmp_path)
    bench = fuzz_files.Bench(tmp_path)
    for suffix, text, load, words in fuzz_files.files():
        path = tmp_path / f"good{suffix}"
        path.write_text(text, encoding="utf-8")
        if load is not None:
            load(path)
        if words:
            assert fuzz_files.told_by_command(bench.named(words, path), {0, 1}) is None
    for words in fuzz_files.WITHOUT_FILE:
        lacks = "--leave-out" in words  # that archive has no trial
        assert fuzz_files.told_by_command(bench.named(words, tmp_path), {2} if lacks else {0, 1}) is None


def test_mutated_files_and_commands_find_nothing() -> None:
    """Every mutated file is taken or refused by name, and every command on one ends with a status and no traceback."""
    assert fuzz_files.fuzz(seed=5, tries=60).figures["first"] == []
