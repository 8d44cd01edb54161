"""Gathering the chains of other benches into one archive, each as it stands.

A bench without its server files into its own archive and loses nothing; later its chain is taken over. Only what is new
is taken, entry by entry as it was sealed, with its names, signatures and traces, all of a chain or nothing of it. Doing
it again takes nothing twice.

Refused, with nothing taken: a source that does not verify (every link, name, signature, trace and verdict); a chain
that *forks* from the one here, that is, has another entry under the same number.

Every chain is looked at before one is taken, and again when it is: from then on the target is held as that bench, so
that nobody else can write to the chain until it is kept. A job is its bench's own: that another bench here gave the
same ID to a job is no reason to refuse one (`station.records.job_names`).

>>> import tempfile
>>> from station.records.entries import Checked
>>> with tempfile.TemporaryDirectory() as folder:
...     own, shop = f"{folder}/bench-1.sqlite", f"{folder}/shop.sqlite"
...     with Archive.open(own, bench="Bench 1", create=True) as archive:
...         _ = archive.append(Checked(job="26-0001", check="no twist"), "2026-03-04T05:06:07.000000Z")
...     gather(own, shop, create=True), gather(own, shop)
({'Bench 1': Taken(before=0, now=1)}, {'Bench 1': Taken(before=1, now=1)})
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

from station.records.archive import Archive, ArchiveFault
from station.records.chain import Link
from station.records.rows import Row, StoredTrace
from station.records.sqlite_file import path_of
from station.records.store import is_server
from station.records.verify import verify_examined
from station.records.workers import examined

_RUN = 500


class Taken(NamedTuple):
    """How many entries of a bench were there before, and are now."""

    before: int
    now: int


def gather(source: str, where: str, create: bool = False, workers: int | None = None) -> dict[str, Taken]:
    """Take what is new in an archive into the one at `where`, bench by bench; `create` makes it where there is none.

    Raises `ArchiveFault` where an archive cannot be read or written, the source is damaged, a chain forks, or a bench
    writes to its chain in the target at this moment.
    """
    if _place(source) == _place(where):
        raise ArchiveFault(f"{source}: is the archive it is to be gathered into; name another bench's")
    with Archive.open(source) as own:
        heads = own.heads()
        with closing(examined(own, workers)) as rows:
            found = verify_examined(rows, own.stored_traces, None, own.unsound())
        wrong = [(each.seq, each.what) for each in found.damaged]
        wrong += [(each.seq, each.what) for each in found.verdicts_changed]
        if wrong:
            seq, what = wrong[0]
            place = "" if seq is None else f"entry {seq}: "
            raise ArchiveFault(
                f"{source}: does not verify ({place}{what}); nothing was taken: look at records verify, "
                f"and gather from a backup"
            )
        for bench, head in heads.items():  # every chain is looked at before one is taken
            with Archive.open(where, bench=bench, create=create) as shop:
                _before(own, shop, bench, head)
        return {bench: _taken(own, where, bench, head) for bench, head in heads.items()}


def _place(where: str) -> str | Path:
    return where if is_server(where) else path_of(where).resolve()


def _taken(own: Archive, where: str, bench: str, head: Link) -> Taken:
    """Take what is new of one chain, which nobody else writes to meanwhile."""
    with Archive.open(where, bench=bench) as shop:
        before = _before(own, shop, bench, head)
        if before < head.seq:
            shop.take_over(_new(own, bench, before + 1, head.seq))
        return Taken(before, max(head.seq, before))


def _before(own: Archive, shop: Archive, bench: str, head: Link) -> int:
    """Give how many entries of a bench are there already. Raises `ArchiveFault` where one is not the same in both."""
    there = shop.head()
    if there is None:
        return 0
    low, high = 0, min(there.seq, head.seq)
    if _hash(own, bench, high) == _hash(shop, bench, high):
        return there.seq
    while low + 1 < high:  # a chain that forks is another from there on
        middle = (low + high) // 2
        low, high = (middle, high) if _hash(own, bench, middle) == _hash(shop, bench, middle) else (low, middle)
    raise ArchiveFault(
        f"{shop.path}: the chain of {bench} forks from the one in {own.path}: entry {high} is another in each, so two "
        f"programs wrote as one bench, or one was altered; nothing was taken: keep both as they are, and see with an "
        f"anchor which is right"
    )


def _hash(archive: Archive, bench: str, seq: int) -> str | None:
    rows = archive.between((bench, seq), (bench, seq))
    return rows[0].hash if rows else None


def _new(own: Archive, bench: str, first: int, last: int) -> Iterator[Row | StoredTrace]:
    """Give the entries from one number to another, each after the trace it names."""
    traces = own.stored_traces
    for begin in range(first, last + 1, _RUN):
        for row in own.between((bench, begin), (bench, min(begin + _RUN - 1, last))):
            if isinstance(name := row.facts.get("trace"), str):
                yield traces[name]
            yield row
