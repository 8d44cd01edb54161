"""Two seconds of the campaign of hostile bytes."""

from __future__ import annotations

from tests.campaigns.fuzz import fuzz


def test_hostile_bytes_find_nothing() -> None:
    """No decoder and no template raises, hangs, grows, loses bytes, or tells chunks another way than the whole."""
    found = fuzz(seed=5, seconds=2)
    assert found["first"] == []
    assert found["tried"] > 100
