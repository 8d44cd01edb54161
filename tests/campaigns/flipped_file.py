"""Alter each byte of a whole archive's file in turn, pages, headers and indexes included, and see what is said of it.

    python -m tests.campaigns.flipped_file

Every altered file must be told as damaged or refused in words, or hold just what was filed; it takes some minutes.
Stretches of zeros, which no page uses, are tried at every sixteenth byte.
"""

from __future__ import annotations

import collections
import sys
import tempfile
from pathlib import Path

from station.records.archive import Archive, ArchiveFault
from station.records.rows import Row
from station.records.verify import verify
from tests.station.records.sample_job import BENCH, JOB, hold, pulled

AT = "2026-03-04T05:06:07.000000Z"


def small(path: Path) -> Path:
    """File two holds in a new archive."""
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for seed in range(2):
            trace = pulled(seed, (0.3, 30, 31))
            archive.append(hold(("12",), trace, "A: pre-stretch"), AT, [trace])
    return path


def said_of(path: Path, filed: list[Row]) -> str:
    """Read everything in an archive, and say whether that was refused, damaged, as filed, or wrong and not noticed."""
    try:
        with Archive.open(path) as archive:
            rows = list(archive.entries())
            archive.heads(), archive.jobs(), archive.new_job_id(2026), list(archive.entries(JOB))
            found = verify(rows, archive.stored_traces, None, archive.unsound(), archive.unguarded())
    except ArchiveFault:
        return "refused in words"
    if not found.good:
        return "told as damaged"
    return "as filed" if rows == filed else "WRONG AND NOT NOTICED"


def main(folder: Path) -> int:
    """Alter every byte by its lowest and by its highest bit; give 0 where nothing went unnoticed."""
    path, altered = small(folder / "archive.sqlite"), folder / "altered.sqlite"
    content = path.read_bytes()
    with Archive.open(path) as archive:
        filed = list(archive.entries())
    said: collections.Counter[str] = collections.Counter()
    for place in range(len(content)):
        if place % 16 and not any(content[max(place - 8, 0) : place + 9]):
            continue
        for bit in (0x01, 0x80):
            flipped = bytearray(content)
            flipped[place] ^= bit
            altered.write_bytes(flipped)
            said[said_of(altered, filed)] += 1
    print(", ".join(f"{count} {what}" for what, count in said.most_common()))
    return int("WRONG AND NOT NOTICED" in said)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        sys.exit(main(Path(made)))
