from __future__ import annotations

import json

import pytest

from station.records.entries import KINDS, EntryFault, PieceCut, body_of, entry_of
from tests.station.records.made_up import made_up


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_comes_back_from_its_body(kind: str) -> None:
    """An entry written as JSON and read again is the entry that was written."""
    entry = made_up(KINDS[kind])
    assert entry_of(json.loads(json.dumps(body_of(entry)))) == entry


def test_what_belongs_to_no_job_says_so() -> None:
    """A scale's checks are filed under no job unless one is named."""
    for kind in ("scale-checked", "daily-checked"):
        body = {key: value for key, value in body_of(made_up(KINDS[kind])).items() if key not in {"job", "step"}}
        assert entry_of(body).job == ""


def test_a_body_from_before_a_field_was_added_is_read() -> None:
    """A piece cut before lots stood at each piece has none of its own."""
    body = {"kind": "piece-cut", "job": "26-0001", "step": "", "line": "A", "piece": "12", "length_um": None}
    entry = entry_of(body)
    assert isinstance(entry, PieceCut)
    assert (entry.lot, entry.spool) == ("", "")


def test_an_unknown_field_is_refused_by_name() -> None:
    """A field that no program wrote is named."""
    with pytest.raises(EntryFault, match="found 'colour' in an entry of kind checked, expected only check, job, step"):
        entry_of({"kind": "checked", "job": "26-0001", "check": "no twist", "colour": "red"})
