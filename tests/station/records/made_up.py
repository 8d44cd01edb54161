"""Entries of every kind with something in every field, to see that each can be said, sealed and read again."""

from __future__ import annotations

import dataclasses
from typing import Any

from station.records.entries import Entry


def made_up(kind: type[Entry]) -> Entry:
    """Give an entry of a kind with something in every field."""
    by_type: dict[str, Any] = {"str": "x", "int": 1_000, "int | None": 1_000, "bool": False, "str | None": "x"}
    values: dict[str, Any] = {}
    for field in dataclasses.fields(kind):
        named = str(field.type)
        values[field.name] = by_type.get(named, ("x",) if named.startswith("tuple") else {})
    return kind(**values)
