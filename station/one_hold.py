"""One hold on real hardware without a window: from the wire to a judged, recorded verdict, told as it happens."""

from __future__ import annotations

import dataclasses
import importlib.metadata
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import Any

from drivers.capture import Capture
from drivers.events import Event, Garbage, LinkLost, LinkUp, Reading
from drivers.unread import Unread
from station.app import Wire, now_us
from station.bench.facts import completed_fact, judged_fact
from station.filing import Filer, wall_clock
from station.measuring.hold import answer
from station.measuring.live_hold import Broken, Closed, Completed, HoldFact, InBand, LiveHold, ZeroSeen
from station.measuring.words import said, seconds, why_broken
from station.records.archive import Archive
from station.records.entries import JobOpened
from station.scale_today import ScaleRecord
from station.settings.hold import HoldSpecification
from station.settings.station import StationSettings
from station.units import force_text


@dataclass(frozen=True)
class Said:
    """One thing that happened: `at_s` counts from the first reading (0 before it)."""

    event: str
    at_s: float
    more: dict[str, Any] = field(default_factory=dict)
    facts: dict[str, Any] | None = None  # of a verdict, as integers
    goes_on: bool = False  # it broke, and the next span began with the same reading

    def answer(self) -> dict[str, Any]:
        """Give it as the command prints it in JSON."""
        return {"event": self.event, "at_s": self.at_s} | self.more

    def words(self, spec: HoldSpecification) -> str:
        """Give it as a rigger reads it."""
        at = f"{self.at_s:7.1f} s  "
        more = self.more
        if self.event == "verdict":
            held_us = round(more["held_s"] * 1e6)
            return "\n".join(at + line for line in said(more["verdict"], more["reasons"], spec, held_us))
        if self.event == "spoilt":
            return "\n".join(
                at + line for line in [*said("void", more["reasons"], spec, 0), "Ease off: it cannot count."]
            )
        return (
            at
            + {
                "link-up": "the port is open: wait for a reading",
                "reading": f"the scale is read: pull to {force_text(spec.target_mn / 1000)}",
                "link-lost": f"{more.get('why')}: {more.get('advice')}",
                "unread": f"{more.get('why')}: {more.get('advice')}",
                "zero": "zero",
                "in-band": f"in the band: hold it, {seconds(spec.duration_us, 0)}",
                "broken": f"{why_broken(more['why']) if self.event == 'broken' else ''}: the time starts again",
                "complete": "time complete: ease off to finish",
            }[self.event]
        )


def run(
    station: StationSettings,
    spec: HoldSpecification,
    timeout_us: int,
    archive: str | None,
    piece: str = "",
    capture: str | None = None,
    stop: threading.Event | None = None,
    key: str | None = None,
) -> Iterator[Said]:
    """Watch one hold and tell what happens; the last thing told is the verdict, which is filed before it is told.

    Nothing is told after the time-out where no frame ever came. All that the wire brings is written to the file
    `capture`. What is filed is signed with the station's key in the file `key`, else with the one beside the archive.
    Once `stop` is set, what was read is judged and filed as it stands. Raises `ArchiveFault` where it cannot be filed,
    `KeyFault` where a key cannot be used, `CaptureFault` where the capture cannot be written or read.
    """
    with ExitStack() as stack:
        file = opened = None
        if archive is not None:
            signing = None if key is None else Path(key)
            opened = stack.enter_context(Archive.open(archive, bench=station.name, create=True, key=signing))
            file = _Filing(Filer(opened), opened.new_job_id(wall_clock().year, station.mark), station, piece)
        record = ScaleRecord.of(opened, station.scale.link.url)
        uncertainty = record.today(station.scale, spec.target_mn, wall_clock().astimezone()).uncertainty
        kept = None if capture is None else stack.enter_context(Capture(capture))
        wire = stack.enter_context(Wire(station, with_pedal=False, capture=kept))
        watch = _OneHold(LiveHold(spec, uncertainty, station.scale.response_us), file, wire.opened_us + timeout_us)
        for batch in wire.events():
            yield from watch.take(batch)
            if watch.over:
                return
            if stop is not None and stop.is_set():
                yield from watch.stop(now_us())
                return


class _OneHold:
    def __init__(self, hold: LiveHold, file: _Filing | None, until_us: int) -> None:
        self.hold = hold
        self.over = False
        self._file = file
        self._until_us = until_us
        self._unread = Unread()
        self._is_read = False  # since the port opened
        self._spoilt: tuple[str, ...] = ()  # as told

    def take(self, batch: Sequence[Event]) -> list[Said]:
        told: list[Said] = []
        readings: list[Reading] = []
        for event in batch:
            if isinstance(event, Reading):
                readings.append(event)
                self._unread.begin()
                if not self._is_read:
                    self._is_read = True
                    told.append(self._said("reading", event.at_us))
                continue
            told += self._facts(self.hold.feed(readings))
            readings = []
            told += self._other(event)
        told += self._facts(self.hold.feed(readings))
        at_us = batch[-1].at_us if batch else 0
        if not self.hold.closed and at_us >= self._until_us:
            self.over = True
            told += self.stop(at_us)
        return told

    def stop(self, at_us: int) -> list[Said]:
        """End the hold as it stands; nothing is told where nothing was read."""
        if self.hold.first_us is None or self.hold.closed:
            return []
        return self._facts([self.hold.close(at_us)])

    def _other(self, event: Event) -> list[Said]:
        if isinstance(event, Garbage):
            self.hold.garbage += 1
            if told := self._unread.garbled(event):
                return [self._said("unread", event.at_us, why=told.why, advice=told.advice)]
        elif isinstance(event, LinkLost):
            self.hold.links_lost.append(event)
            return [self._said("link-lost", event.at_us, why=event.why, advice=event.advice)]
        elif isinstance(event, LinkUp):
            self._unread.begin()
            self._is_read = False
            return [self._said("link-up", event.at_us)]
        return []

    def _said(self, event: str, at_us: int, **more: Any) -> Said:
        first_us = self.hold.first_us
        return Said(event, 0.0 if first_us is None else (at_us - first_us) / 1e6, more)

    def _facts(self, facts: Sequence[HoldFact]) -> list[Said]:
        told: list[Said] = []
        for fact, after in zip_longest(facts, facts[1:]):
            if isinstance(fact, ZeroSeen):
                told.append(self._said("zero", fact.at_us))
            elif isinstance(fact, InBand):
                told.append(self._said("in-band", fact.at_us))
            elif isinstance(fact, Broken):
                broken = self._said("broken", fact.at_us, why=fact.why, held_s=fact.held_us / 1e6)
                told.append(dataclasses.replace(broken, goes_on=isinstance(after, InBand)))
            elif isinstance(fact, Completed):
                if self._file and not self.hold.closed:
                    self._file.completed(self.hold)
                told.append(self._said("complete", fact.at_us))
            else:
                told.append(self._closed(fact))
        if self.hold.spoilt != self._spoilt and not self.hold.closed:
            self._spoilt = self.hold.spoilt
            at_us = (self.hold.first_us or 0) + self.hold.state.last_us
            told.append(self._said("spoilt", at_us, reasons=[*self._spoilt]))
        return told

    def _closed(self, fact: Closed) -> Said:
        self.over = True
        if self._file:
            self._file.judged(self.hold, fact)
        facts = fact.judgement.facts()
        return dataclasses.replace(self._said("verdict", fact.at_us, **answer(facts)), facts=facts)


class _Filing:
    """Files a hold that belongs to no job as a job of its own."""

    def __init__(self, file: Filer, job: str, station: StationSettings, piece: str) -> None:
        self._file = file
        self._job = job
        self._station = station
        self._pieces = (piece,) if piece else ()
        self._opened = False

    def completed(self, hold: LiveHold) -> None:
        self._open()
        entry, trace = completed_fact(self._job, "", self._pieces, hold)
        self._file(entry, [trace])

    def judged(self, hold: LiveHold, fact: Closed) -> None:
        self._open()
        scale = self._station.scale.link.url
        self._file(judged_fact(self._job, "", self._pieces, hold, fact, scale), [fact.trace])

    def _open(self) -> None:
        if not self._opened:
            self._file(
                JobOpened(
                    job=self._job,
                    title="one hold, without a job",
                    side="",
                    number="",
                    reference="",
                    plan_toml="",
                    software=software(),
                )
            )
            self._opened = True


def software() -> str:
    """Give this program's name and version, as records keep it."""
    return f"fidbench {importlib.metadata.version('fidbench')}"
