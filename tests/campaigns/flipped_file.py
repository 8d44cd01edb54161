"""Whether a damaged file is noticed: `python -m tests.campaigns.flipped_file --json [--size BITS]`.

Each byte of a whole archive's file, pages, headers and indexes included, is altered in turn, by each of its bits (the
first `--size` of the lowest, the highest, and the others). Every altered file must be told as damaged, refused in
words, or give just what was filed; then the altered byte must be one that carries nothing, and `as_filed` counts those
by what they are: room that no row takes, in the page of a table or behind the end of a long value, or a field of the
file's head that SQLite sets anew or nobody reads, or lie in the tables' definitions, where a space or a number of
SQLite's own is one. `survived` counts what was told, refused or carries nothing; `lost`
what gave something else and was not told, and what gave what was filed although it carries something.

Room that no row takes is tried at every sixteenth byte, all else at every one.
"""

from __future__ import annotations

import collections
import sqlite3
import struct
import sys
import tempfile
from contextlib import closing
from pathlib import Path

from station.records.archive import Archive, ArchiveFault
from station.records.rows import Row, StoredTrace
from station.records.verify import verify
from tests.campaigns.campaign import Finding, Progress, run, shared, some
from tests.station.records.sample_job import BENCH, JOB, hold, pulled

AT = "2026-03-04T05:06:07.000000Z"
BITS = (0x01, 0x80, 0x02, 0x04, 0x08, 0x10, 0x20, 0x40)
UNUSED = "room that no row takes"
EVERY_UNUSED = 16
# Where a b-tree page's own head ends, and of what its cells consist: https://www.sqlite.org/fileformat2.html, 1.6
INTERIOR_INDEX, INTERIOR_TABLE, LEAF_INDEX, LEAF_TABLE = 2, 5, 10, 13
# The file's head, 1.3: fields in which a flip may bear on nothing that is read.
HEAD = {
    18: "file head: version for writing",
    **dict.fromkeys(range(24, 28), "file head: change counter"),
    **dict.fromkeys(range(28, 32), "file head: size in pages"),
    **dict.fromkeys(range(40, 44), "file head: schema cookie"),
    **dict.fromkeys(range(44, 48), "file head: schema format"),
    **dict.fromkeys(range(48, 52), "file head: suggested cache size"),
    **dict.fromkeys(range(56, 60), "file head: text encoding"),
    **dict.fromkeys(range(60, 64), "file head: layout of ours"),
    **dict.fromkeys(range(72, 92), "file head: reserved, zero"),
    **dict.fromkeys(range(92, 96), "file head: version-valid-for"),
    **dict.fromkeys(range(96, 100), "file head: version of SQLite that wrote"),
}
# What may be altered and bear on nothing filed; of the tables' definitions these are spaces and SQLite's own numbers.
CARRIES_NOTHING = {UNUSED, "schema: cell", *HEAD.values()}


def small(path: Path) -> Path:
    """File two holds in a new archive; the same file each time, but for the salts of names, of which there are none."""
    with Archive.open(path, bench=BENCH, create=True) as archive:
        for seed in range(2):
            trace = pulled(seed, (0.3, 30, 31))
            archive.append(hold(("12",), trace, "A: pre-stretch"), AT, [trace])
    return path


def varint(content: bytes, at: int) -> tuple[int, int]:
    """Read a number of one to nine bytes; give it and where it ends."""
    value = 0
    for n in range(8):
        value = value << 7 | content[at + n] & 0x7F
        if content[at + n] < 0x80:
            return value, at + n + 1
    return value << 8 | content[at + 8], at + 9


class Map:
    """What each byte of an archive's file is, read as the file format says."""

    def __init__(self, content: bytes, roots: dict[int, str]) -> None:
        self.content = content
        self.page_size = struct.unpack(">H", content[16:18])[0]
        self.what = [UNUSED] * len(content)
        self.name(0, 100, "file head")
        for place, field in HEAD.items():
            self.what[place] = field
        for root, name in roots.items():
            self.page(root, name)

    def name(self, first: int, end: int, what: str) -> None:
        """Name a stretch of bytes."""
        self.what[first:end] = [what] * (end - first)

    def page(self, number: int, name: str) -> None:
        """Name the bytes of a b-tree page and of all below it."""
        start = (number - 1) * self.page_size
        head = start + (100 if number == 1 else 0)
        kind, _, count = struct.unpack(">BHH", self.content[head : head + 5])
        interior = kind in {INTERIOR_INDEX, INTERIOR_TABLE}
        pointers = head + (12 if interior else 8)
        self.name(head, pointers + 2 * count, f"{name}: page head")
        for n in range(count):
            cell = start + struct.unpack(">H", self.content[pointers + 2 * n : pointers + 2 * n + 2])[0]
            self.cell(cell, kind, name)
        if interior:
            self.page(struct.unpack(">I", self.content[head + 8 : head + 12])[0], name)

    def cell(self, at: int, kind: int, name: str) -> None:
        """Name the bytes of a cell, the pages its value runs over to, and the page below it."""
        begin = at
        if kind in {INTERIOR_INDEX, INTERIOR_TABLE}:
            self.page(struct.unpack(">I", self.content[at : at + 4])[0], name)
            at += 4
        if kind == INTERIOR_TABLE:
            _, at = varint(self.content, at)
            self.name(begin, at, f"{name}: cell")
            return
        size, at = varint(self.content, at)
        if kind == LEAF_TABLE:
            _, at = varint(self.content, at)
        usable = self.page_size
        most = usable - 35 if kind == LEAF_TABLE else (usable - 12) * 64 // 255 - 23
        here = size
        if size > most:
            least = (usable - 12) * 32 // 255 - 23
            here = least + (size - least) % (usable - 4)
            here = here if here <= most else least
            self.over(struct.unpack(">I", self.content[at + here : at + here + 4])[0], size - here, name)
        self.name(begin, at + here + (4 if size > here else 0), f"{name}: cell")

    def over(self, number: int, left: int, name: str) -> None:
        """Name the bytes of a value on the pages it runs over to."""
        while left > 0:
            start = (number - 1) * self.page_size
            here = min(left, self.page_size - 4)
            self.name(start, start + 4 + here, f"{name}: long value")
            number, left = struct.unpack(">I", self.content[start : start + 4])[0], left - here


def mapped(path: Path) -> list[str]:
    """Say of each byte of an archive's file what it is."""
    with closing(sqlite3.connect(path)) as connection:
        tables = connection.execute("SELECT rootpage, name FROM sqlite_master WHERE rootpage > 0").fetchall()
    return Map(path.read_bytes(), {1: "schema", **dict(tables)}).what


Filed = tuple[list[Row], list[StoredTrace | None]]


def filed(archive: Archive) -> Filed:
    """Give all that is filed in an archive."""
    stored = archive.stored_traces
    return list(archive.entries()), [stored.get(name) for name in stored]


def said_of(path: Path, whole: Filed) -> str:
    """Read everything in an archive, and say whether that was refused, damaged, as filed, or wrong and not noticed."""
    try:
        with Archive.open(path) as archive:
            found = filed(archive)
            archive.heads(), archive.jobs(), archive.new_job_id(2026), list(archive.entries(JOB))
            verified = verify(found[0], archive.stored_traces, None, archive.unsound(), archive.unguarded())
    except ArchiveFault:
        return "refused in words"
    if not verified.good:
        return "told as damaged"
    if verified.remarks:
        return "told in a remark"
    return "as filed" if found == whole else "WRONG AND NOT NOTICED"


def flips(what: list[str], bits: int) -> list[tuple[int, int]]:
    """Give each place to alter, with the bit."""
    places = (n for n, each in enumerate(what) if each != UNUSED or n % EVERY_UNUSED == 0)
    return [(place, bit) for place in places for bit in BITS[:bits]]


def some_flips(share: tuple[int, int, int]) -> list[tuple[str, int, str]]:
    """Alter a share of the places; give what each is, where, and what was said of the file."""
    bits, first, end = share
    with tempfile.TemporaryDirectory() as made:
        path, altered = small(Path(made) / "archive.sqlite"), Path(made) / "altered.sqlite"
        content, what = path.read_bytes(), mapped(path)
        with Archive.open(path) as archive:
            whole = filed(archive)
        said = []
        for place, bit in flips(what, bits)[first:end]:
            flipped = bytearray(content)
            flipped[place] ^= bit
            altered.write_bytes(flipped)
            said.append((what[place], place, said_of(altered, whole)))
    return said


def flip(_seed: int, size: int) -> Finding:
    """Alter every byte, by so many of its bits."""
    bits = min(size, len(BITS))
    with tempfile.TemporaryDirectory() as made:
        count = len(flips(mapped(small(Path(made) / "archive.sqlite")), bits))
    tell = Progress(count, "altered files read")
    said: collections.Counter[str] = collections.Counter()
    as_filed: collections.Counter[str] = collections.Counter()
    lost: list[str] = []
    for done, part in shared(some_flips, bits, count, 250):
        for what, place, words in part:
            said[words] += 1
            as_filed[what] += words == "as filed"
            if words.startswith("WRONG") or (words == "as filed" and what not in CARRIES_NOTHING):
                lost.append(f"byte {place}, {what}: {words}")
        tell(done, f"{len(lost)} lost")
    figures = {
        "tried": count,
        "survived": count - len(lost),
        "lost": len(lost),
        "said": dict(said.most_common()),
        "as_filed": {what: n for what, n in as_filed.most_common() if n},
        "first": some(lost, 40),
    }
    words = ", ".join(f"{n} {what}" for what, n in said.most_common())
    return Finding(figures, f"{words}; of those as filed {len(lost)} carry something", not lost)


if __name__ == "__main__":
    sys.exit(run(__doc__, 2, "bits", flip))
