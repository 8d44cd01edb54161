"""A bench that works a job and files it into a real archive, for campaigns in which something happens to it meanwhile.

Hands, feet and the scale are functions of simulated time; the bench, the filing and the archive are the program's own.
A verdict counts as shown when the bench shows it, and no sooner.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from station.filing import Filer, facts_of
from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.entries import Entry, HoldJudged
from station.records.verify import Verification, verify
from tests.station.bench.workbench import MAIN, Workbench

Verdict = tuple[str, Any]  # the trace's hash, the judgement
MOST_STEPS = 200
BEGINS = datetime.datetime(2026, 3, 4, 9, tzinfo=datetime.UTC)


class FilingBench(Workbench):
    """A workbench that files into an archive; `meanwhile` is called before each step and each entry."""

    def __init__(
        self,
        archive: Archive,
        clock: Callable[[FilingBench], datetime.datetime],
        meanwhile: Callable[[FilingBench], None] | None = None,
    ) -> None:
        self.shown: list[Verdict] = []
        self._filer: Filer | None = None
        self._meanwhile = meanwhile
        super().__init__(spec=MAIN)
        self._filer = Filer(archive, lambda: clock(self))
        self._filer(self.entries[0])

    def file(self, entry: Entry, traces: Sequence[Trace] = ()) -> int:
        """File a fact into the archive."""
        if self._filer is None:
            raise RuntimeError("nothing is filed before the job is opened")
        if self._meanwhile:
            self._meanwhile(self)
        seq = self._filer(entry, traces)
        self.entries.append(entry)
        return seq

    def work(self) -> bool:
        """Work the job, noting what is shown, until it is signed off or the bench has stopped; tell whether it is."""
        for _ in range(MOST_STEPS):
            if self.bench.step is None or self.bench.stopped:
                break
            before = self.bench.state.last_hold
            self.do_step()
            last = self.bench.state.last_hold
            if last is not None and last is not before:
                self.shown.append((last.trace, dict(last.judgement)))
        return self.bench.step is None


def clock(bench: FilingBench) -> datetime.datetime:
    """Give the time of day, which goes as the bench's own does."""
    return BEGINS + datetime.timedelta(microseconds=bench.at_us)


def verified(path: Path) -> tuple[Verification, list[Verdict]]:
    """Open an archive anew; give what verification says of it, and the verdicts it holds."""
    with Archive.open(path) as archive:
        found = verify(archive.entries(), archive.stored_traces, None, archive.unsound(), archive.unguarded())
        held = [(each.trace, dict(each.judgement)) for _, each in facts_of(archive) if isinstance(each, HoldJudged)]
    return found, held


def missing(path: Path, shown: Sequence[Verdict]) -> str:
    """Say what of the verdicts shown is not in the archive as shown, or what is damaged; nothing where all is."""
    found, kept = verified(path)
    if not found.good:
        return f"the archive does not verify: {found.damaged} {found.verdicts_changed}"
    lost = [trace for trace, judgement in shown if (trace, judgement) not in kept]
    return f"{len(lost)} of {len(shown)} verdicts shown are not in the archive" if lost else ""
