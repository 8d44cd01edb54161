"""What a job is called where an archive holds the chains of several benches.

A job is one bench's: its ID, as 26-0001, is unique there, and everywhere once the benches have marks of their own
(26-B0001; see `new_id`). Benches without marks that number while they are off line may each give the same ID. Then each
job is called by its ID and its bench, and the ID alone by nothing but the bench that writes: that one means its own.

>>> names = JobNames({"26-0001": ("Bench 1", "Bench 2")})
>>> names.of("Bench 2", "26-0001"), names.of("Bench 2", "26-0002")
('26-0001 of Bench 2', '26-0002')
>>> names.read("26-0001 of Bench 2"), names.read("26-0002")
(('26-0001', 'Bench 2'), ('26-0002', None))
>>> new_id(["26-0009", "26-B0001", "25-0123"], 2026), new_id(["26-0009", "26-B0001"], 2026, "B")
('26-0010', '26-B0002')
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from station.records.rows import ArchiveFault

_OF = " of "


@dataclass(frozen=True)
class JobNames:
    """The IDs that more than one bench opened a job under, with those benches; `own` is the bench that writes."""

    benches: Mapping[str, Sequence[str]]
    own: str | None = None

    def of(self, bench: str, job: str) -> str:
        """Give what a bench's job is called."""
        return f"{job}{_OF}{bench}" if job in self.benches else job

    def read(self, name: str) -> tuple[str, str | None]:
        """Give the ID that a name stands for, and the bench where only that one's is meant.

        Raises `ArchiveFault` for an ID that is several benches', where none of them is meant.
        """
        job, of, bench = name.partition(_OF)
        if of and bench in self.benches.get(job, ()):
            return job, bench
        benches = self.benches.get(name)
        if benches is None:
            return name, None
        if self.own in benches:
            return name, self.own
        named = " and ".join(repr(self.of(each, name)) for each in benches)
        raise ArchiveFault(f"{len(benches)} benches gave the number {name!r} to a job of their own; say which: {named}")


def ids_in(name: str) -> list[str]:
    """Give the IDs that a name may stand for."""
    return [name, name.partition(_OF)[0]]


def new_id(taken: Iterable[str], year: int, mark: str = "") -> str:
    """Give the first ID after those taken in a year, by a bench of this mark."""
    begins = f"{year % 100:02d}-{mark}"
    ends = [job.removeprefix(begins) for job in taken if job.startswith(begins)]
    numbers = [int(end) for end in ends if end.isascii() and end.isdigit()]
    return f"{begins}{max(numbers, default=0) + 1:04d}"
