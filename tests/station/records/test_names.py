from __future__ import annotations

import dataclasses
import itertools
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.records.archive import Archive
from station.records.entries import KINDS, JobOpened, SignedOff, body_of
from station.records.examine import examine
from station.records.job_sheet import JobSheet
from station.records.names import (
    ALTERED,
    WITHHELD,
    NamesFault,
    opened,
    read_names,
    seal_names,
    seals,
    text_of,
    what_is_wrong,
    withheld,
)
from station.records.verify import Verification, verify
from tests.station.records.archives import altered
from tests.station.records.made_up import made_up
from tests.station.records.sample_job import JOB, file_job

NAMES = ("Ansa Velling", "Tobin Hask", "Ilse Marrow", "4 Tannery Row, Upper Hale", "GG-118", "GG-031", "AV7")


def salts() -> Any:
    """Give salts that count up, in the form of drawn ones."""
    numbers = itertools.count()
    return lambda: f"{next(numbers):032x}"


def read(path: Path) -> Verification:
    """Verify an archive."""
    with Archive.open(path) as archive:
        return verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded())


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_is_sealed_without_its_names_and_opened_with_them(kind: str) -> None:
    """What is sealed and opened again with its names is what was said."""
    facts = body_of(made_up(KINDS[kind]))
    sealed, names = seal_names(facts, salts())
    assert opened(sealed, read_names(text_of(names))) == facts
    assert {path for path, _ in seals(sealed)} == set(names)
    assert what_is_wrong(sealed, names) == []
    assert ("by" in names) == ("by" in facts)


@given(st.dictionaries(st.text(), st.none() | st.tuples(st.text(), st.text())))
def test_names_are_read_as_they_were_written(names: dict[str, tuple[str, str] | None]) -> None:
    """Any name of any alphabet comes back as it was."""
    assert read_names(text_of(names)) == names


@pytest.mark.parametrize("text", ["", "[]", '{"by": null}', '{"by":[1,"x"]}', '{"by":["x"]}', '{"by":"x"}', "{", "1.5"])
def test_what_is_no_names_is_refused(text: str) -> None:
    """What was never written as names is not taken for names."""
    with pytest.raises(NamesFault):
        read_names(text)


def test_no_name_stands_in_a_sealed_body(tmp_path: Path) -> None:
    """Of the persons of a whole job, nothing stands in what is hashed but their seals, and none is the same twice."""
    path = file_job(tmp_path / "archive.sqlite")
    with Archive.open(path) as archive:
        rows = list(archive.entries())
    bodies = "".join(row.body.decode() for row in rows)
    assert [name for name in NAMES if name in bodies] == []
    hashes = [seal for row in rows for _, seal in seals(row.facts)]
    assert len(hashes) == len(set(hashes)) == 13
    sheet = JobSheet.of(JOB, rows)
    assert sheet.opened is not None
    assert sheet.opened.people["worker"] == "Ansa Velling"
    assert sheet.opened.owner["address"] == "4 Tannery Row, Upper Hale"


def test_a_withheld_name_breaks_nothing_and_is_said() -> None:
    """With a name withheld the facts still open, and say that it is; whoever has the name can still show it."""
    entry = SignedOff(job=JOB, by="Ansa Velling", certificate="GG-118", statement="done")
    sealed, names = seal_names(body_of(entry), salts())
    left = withheld(names, lambda name: name == "Ansa Velling")
    assert opened(sealed, left) == body_of(entry) | {"by": WITHHELD}
    assert what_is_wrong(sealed, left) == []


def test_a_name_exchanged_beside_its_entry_is_found_and_not_shown(tmp_path: Path) -> None:
    """Another name put beside a signature is damage at that entry, and the record does not show it."""
    path = altered(
        file_job(tmp_path / "archive.sqlite"),
        "UPDATE entries SET names = replace(names, 'Ansa Velling', 'Tobin Hask') WHERE seq = 30",
    )
    found = read(path)
    assert [(damage.seq, damage.what) for damage in found.damaged] == [
        (30, "the name under 'by' is not the one that was sealed")
    ]
    with Archive.open(path) as archive:
        (signed,) = archive.of_kind("signed-off")
        assert isinstance(signed.entry, SignedOff)
        assert signed.entry.by == ALTERED


@pytest.mark.parametrize("by", ["'{}'", "'x'", "'[]'", """'{"by":null,"surprise":null}'"""])
def test_names_taken_out_or_put_in_are_found(tmp_path: Path, by: str) -> None:
    """Names that are gone, more, or no names at all, are damage at their entry."""
    path = altered(file_job(tmp_path / "archive.sqlite"), f"UPDATE entries SET names = {by} WHERE seq = 30")  # noqa: S608 -- a test's own text
    assert [damage.seq for damage in read(path).damaged] == [30]


def test_every_altered_byte_of_names_is_found(tmp_path: Path) -> None:
    """One byte altered in what stands beside an entry, whichever it is, is found at that entry."""
    with Archive.open(file_job(tmp_path / "archive.sqlite")) as archive:
        row = list(archive.entries())[-1]
    assert examine(row, {}).wrong == ()
    for place in range(len(row.names)):
        for bit in (0x01, 0x20):
            flipped = bytearray(row.names.encode())
            flipped[place] ^= bit
            text = flipped.decode("utf-8", "surrogateescape")
            assert examine(dataclasses.replace(row, names=text), {}).wrong != (), text


def test_an_old_archive_with_plain_names_is_read() -> None:
    """Entries sealed with their names in them, as the first layout did, show those names."""
    with Archive.open(Path(__file__).parents[2] / "captures" / "archive-layout-1.sqlite") as archive:
        opening = next(archive.entries(JOB)).entry
    assert isinstance(opening, JobOpened)
    assert opening.people["worker"] == "Ansa Velling"
