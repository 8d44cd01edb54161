from __future__ import annotations

import builtins
import dataclasses
from pathlib import Path
from typing import Any

import pytest

from station.records import signatures
from station.records.archive import Archive
from station.records.chain import SIGNED_FORMAT, read_body
from station.records.entries import Checked
from station.records.examine import examine
from station.records.signatures import KeyFault, Signer, is_signed
from station.records.verify import Verification, verify
from tests.station.records.archives import altered
from tests.station.records.sample_job import BENCH, JOB

pytest.importorskip("cryptography", reason="signatures need the extra sign")
AT = "2026-03-04T05:06:07.000000Z"


def filed(path: Path, count: int, bench: str = BENCH) -> Path:
    """File some checks, signed where a key lies beside the archive."""
    with Archive.open(path, bench=bench, create=True) as archive:
        for n in range(count):
            archive.append(Checked(job=JOB, check=f"check {n}"), AT)
    return path


def signed(path: Path, count: int = 3) -> tuple[Path, str]:
    """File some checks in a new archive with a key; give its public half as well."""
    signer = Signer.make(path.with_name(path.name + ".key"))
    return filed(path, count), signer.public


def found(path: Path, key: str | None = None) -> Verification:
    """Verify an archive, with a key known from elsewhere or without."""
    with Archive.open(path) as archive:
        return verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded(), key)


def test_a_bench_with_a_key_signs_every_entry(tmp_path: Path) -> None:
    """Each text names the key, each signature is the text's, and the archive verifies."""
    path, public = signed(tmp_path / "archive.sqlite")
    whole = found(path, public)
    assert (whole.good, dict(whole.keys), whole.remarks) == (True, {public: 3}, ())
    with Archive.open(path) as archive:
        for row in archive.entries():
            content = read_body(row.body)
            assert (content["format"], content["key"]) == (SIGNED_FORMAT, public)
            assert is_signed(public, row.body, row.signature)


def test_a_key_made_later_signs_from_then_on(tmp_path: Path) -> None:
    """Entries from before the station had a key stay as they are, and no damage."""
    path = filed(tmp_path / "archive.sqlite", 2)
    signed(path, 2)
    whole = found(path)
    assert (whole.good, whole.entries, list(whole.keys.values())) == (True, 4, [2])


def test_an_entry_without_a_signature_after_signed_ones_is_told(tmp_path: Path) -> None:
    """Where the key is taken away, the first entry without one is named."""
    path, _ = signed(tmp_path / "archive.sqlite", 2)
    path.with_name(path.name + ".key").unlink()
    filed(path, 1)
    assert [(each.seq, each.what) for each in found(path).damaged] == [(3, "it is not signed, and one before it is")]


def test_an_altered_entry_among_signed_ones_is_told_as_altered(tmp_path: Path) -> None:
    """What an altered text says of its key is not believed: it is told as altered, not as unsigned."""
    path, public = signed(tmp_path / "archive.sqlite")
    altered(path, "UPDATE entries SET body = replace(body, 'check 1', 'check 9') WHERE seq = 2")
    whole = found(path, public)
    assert [(each.seq, each.what) for each in whole.damaged] == [(2, "its text was altered after it was sealed")]
    assert dict(whole.keys) == {public: 2}


@pytest.mark.parametrize("signature", ["''", "'00'", "upper(signature)", "signature || '00'", "substr(signature, 2)"])
def test_a_signature_taken_out_or_altered_is_found(tmp_path: Path, signature: str) -> None:
    """Any other signature than the one that was made is damage at its entry."""
    path, _ = signed(tmp_path / "archive.sqlite")
    altered(path, f"UPDATE entries SET signature = {signature} WHERE seq = 2")  # noqa: S608 -- a test's own text
    what = "its signature is not the one of its text by the key it names"
    assert [(each.seq, each.what) for each in found(path).damaged] == [(2, what)]


def test_every_altered_byte_of_a_signature_is_found(tmp_path: Path) -> None:
    """One byte altered in a signature, any of them, is found at its entry."""
    path, _ = signed(tmp_path / "archive.sqlite", 1)
    with Archive.open(path) as archive:
        (row,) = archive.entries()
    assert examine(row, {}).wrong == ()
    for place in range(len(row.signature)):
        for bit in (0x01, 0x20):
            flipped = bytearray(row.signature.encode())
            flipped[place] ^= bit
            assert examine(dataclasses.replace(row, signature=flipped.decode("latin-1")), {}).wrong != ()


def test_a_chain_made_anew_by_somebody_else_is_signed_by_another_key(tmp_path: Path) -> None:
    """Who rebuilds a chain without the key cannot sign as the station; the key known from paper shows it."""
    _, known = signed(tmp_path / "archive.sqlite")
    forged, other = signed(tmp_path / "forged.sqlite")
    assert found(forged).good
    whole = found(forged, known)
    assert [(each.seq, each.what) for each in whole.damaged] == [
        (None, f"no entry is signed by the key {known[:12]}..."),
        *((seq, f"it is signed by another key, {other[:12]}...") for seq in (1, 2, 3)),
    ]


def test_a_signature_beside_a_text_that_names_no_key_is_found(tmp_path: Path) -> None:
    """A signature put beside an entry that was not signed is damage."""
    path = altered(filed(tmp_path / "archive.sqlite", 1), "UPDATE entries SET signature = '00'")
    assert [each.what for each in found(path).damaged] == ["a signature stands beside it, and its text names no key"]


def test_a_key_file_is_its_owners_and_is_never_replaced(tmp_path: Path) -> None:
    """A key is drawn anew each time, readable by its owner alone, reads back the same, and stays where it is."""
    path = tmp_path / "station.key"
    made = Signer.make(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert Signer.load(path).public == made.public != Signer.make(tmp_path / "other.key").public
    with pytest.raises(KeyFault, match="is there already; a key is never replaced"):
        Signer.make(path)
    with pytest.raises(KeyFault, match="cannot be written"):
        Signer.make(tmp_path / "nowhere" / "station.key")


def test_what_is_no_key_is_refused_by_name(tmp_path: Path) -> None:
    """A letter, a key that others may read, and a missing file are refused, saying what to do."""
    path = tmp_path / "station.key"
    with pytest.raises(KeyFault, match=r"station\.key: cannot be read as a key"):
        Signer.load(path)
    path.write_text("Dear Ansa")
    with pytest.raises(KeyFault, match="others than you may read this key; chmod 600"):
        Signer.load(path)
    path.chmod(0o600)
    with pytest.raises(KeyFault, match="is no key; expected sixty-four hexadecimal digits"):
        Signer.load(path)


def test_without_the_library_signatures_are_not_checked_and_that_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where cryptography is not installed, an archive verifies but for its signatures, and no key is used."""
    path, _ = signed(tmp_path / "archive.sqlite", 2)
    real = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Any) -> Any:
        if name.startswith("cryptography"):
            raise ImportError(name)
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    whole = found(path)
    assert whole.good
    assert whole.remarks == ("2 signatures not checked: pip install 'fidbench[sign]', and verify again",)
    assert not signatures.can_be_checked()
    with pytest.raises(KeyFault, match="signing needs the library cryptography"):
        Archive.open(path, bench=BENCH)
