"""Canonical JSON against the documents published with RFC 8785 (see data/jcs/SOURCE.md)."""

from __future__ import annotations

import csv
import json
import struct
from pathlib import Path

import pytest
import rfc8785

DATA = Path(__file__).parent / "data"
DOCUMENTS = sorted(path.name.removesuffix(".input.json") for path in (DATA / "jcs").glob("*.input.json"))


def published_numbers() -> list[tuple[str, str]]:
    """Give the published numbers: their bits and their text."""
    lines = (DATA / "jcs_numbers.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return [(row["ieee754_hex"], row["expected"]) for row in rows]


def test_all_published_documents_are_here() -> None:
    """The six documents are there to be tested with."""
    assert DOCUMENTS == ["arrays", "french", "structures", "unicode", "values", "weird"]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_published_document_gets_its_published_bytes(name: str) -> None:
    """What seals the entries writes each published document in just the published bytes."""
    given = json.loads((DATA / "jcs" / f"{name}.input.json").read_text(encoding="utf-8"))
    published = bytes.fromhex((DATA / "jcs" / f"{name}.outhex.txt").read_text(encoding="ascii"))
    assert rfc8785.dumps(given) == published


@pytest.mark.parametrize(("ieee754_hex", "expected"), published_numbers())
def test_a_published_number_gets_its_published_text(ieee754_hex: str, expected: str) -> None:
    """A number of the published list is written as published there."""
    (number,) = struct.unpack(">d", bytes.fromhex(ieee754_hex))
    assert rfc8785.dumps(number) == expected.encode()
