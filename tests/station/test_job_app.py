from __future__ import annotations

import dataclasses
import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from station import filing, job_app
from station.filing import Filer, facts_of, job_state, next_piece
from station.job_app import begin, bench_of, jobs_of
from station.pages_app import archive_page
from station.records.archive import Archive, ArchiveFault
from station.records.entries import PieceCut, SignedOff, StepDone
from station.records.gather import gather
from station.records.register import register
from station.records.rows import Row
from station.settings.shop import hold_named
from station.settings.station import StationSettings, load_station
from station.settings.tables import SettingsFault
from station.views.job_forms import STATION_HOLD
from tests.station.cli.commands import FOREIGN_STATION
from tests.station.test_bench_app import ANSWERS, PLAN


def station_of(folder: Path, mark: str) -> StationSettings:
    """Give a station whose job numbers carry a mark."""
    path = folder / "station.toml"
    path.write_text(FOREIGN_STATION.format(url="/dev/ttyUSB9"))
    return dataclasses.replace(load_station(path), mark=mark)


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let every job be opened on one day."""
    day = datetime.datetime(2026, 3, 4, 9, tzinfo=datetime.UTC)
    for module in (filing, job_app):
        monkeypatch.setattr(module, "wall_clock", lambda: day)


def test_a_job_is_numbered_with_its_benchs_mark(tmp_path: Path) -> None:
    """Jobs begun at a bench with a mark carry it, those begun without one do not, and each counts its own."""
    marked = station_of(tmp_path, "B")
    with Archive.open(tmp_path / "a.sqlite", bench=marked.name, create=True) as archive:
        begun = [begin(archive, station, PLAN, ANSWERS)[0] for station in (marked, None, marked)]
    assert begun == ["26-B0001", "26-0001", "26-B0002"]


def test_a_job_goes_on_at_the_bench_whose_it_is_where_two_gave_its_number(tmp_path: Path) -> None:
    """Of two jobs of one number each bench goes on with its own, under either name, and is told whose the other is."""
    for bench in ("Bench 1", "Bench 2"):
        with Archive.open(tmp_path / f"{bench}.sqlite", bench=bench, create=True) as archive:
            begin(archive, None, PLAN, ANSWERS | {"title": f"of {bench}"})
        gather(str(tmp_path / f"{bench}.sqlite"), str(tmp_path / "shop.sqlite"), create=True)
    with Archive.open(tmp_path / "shop.sqlite", bench="Bench 2") as archive:
        assert [each[:2] for each in jobs_of(archive)] == [
            ("26-0001 of Bench 1", "of Bench 1, left"), ("26-0001 of Bench 2", "of Bench 2, left")
        ]  # fmt: skip
        for name in ("26-0001", "26-0001 of Bench 2"):
            assert bench_of(archive, None, name, "lbf", "imperial").state.opened.title == "of Bench 2"
        with pytest.raises(ArchiveFault, match="Bench 2 has a job of that number too; go on with this one at Bench 1"):
            bench_of(archive, None, "26-0001 of Bench 1", "lbf", "imperial")
        assert len(facts_of(archive)) == 2


def test_a_job_goes_on_where_the_benchs_name_was_changed(tmp_path: Path) -> None:
    """What a bench files under another name comes after what was filed before, however the names sort."""
    for bench in ("Bench", "Alpha", "Bench", "Zeta"):
        with Archive.open(tmp_path / "a.sqlite", bench=bench, create=True) as archive:
            if not archive.jobs():
                begin(archive, None, PLAN, ANSWERS)
            step = job_state(archive, "26-0001").now
            assert step is not None
            Filer(archive)(StepDone(job="26-0001", step=step.key))
    with Archive.open(tmp_path / "a.sqlite") as archive:
        assert [row.bench for row in archive.entries("26-0001")] == ["Bench", "Bench", "Alpha", "Bench", "Zeta"]
        assert [row.bench for row in archive.entries()] == ["Alpha", "Bench", "Bench", "Bench", "Zeta"]


def test_the_entries_of_a_job_that_is_signed_off_are_not_read_to_list_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first page, and the next piece's number, read of years of signed-off jobs only what they show of them."""
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        for _ in range(2):
            begin(archive, None, PLAN, ANSWERS)
        for piece in ("9", "31", "none"):
            Filer(archive)(PieceCut(job="26-0001", line="A", piece=piece, length_um=None))
        Filer(archive)(SignedOff(job="26-0001", by="Ansa Velling", certificate="", statement="done"))
        read, entries = [], Archive.entries

        def seen(self: Archive, job: str | None = None) -> Iterator[Row]:
            read.append(job)
            return entries(self, job)

        monkeypatch.setattr(Archive, "entries", seen)
        assert [(each[0], each[3]) for each in jobs_of(archive)] == [
            ("26-0001", "signed off"), ("26-0002", "next: cause")
        ]  # fmt: skip
        assert next_piece(archive) == 32
        assert read == ["26-0002"]


def test_the_archives_page_finds_a_job_by_its_lot_and_its_day(qtbot: QtBot, tmp_path: Path) -> None:
    """What the page looks in holds the lots of line and thread, the day, the canopy and who worked."""
    stock = {"stock.lot": "H-2231", "sewing.thread_lot": "T-9"}
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        begin(archive, None, PLAN, ANSWERS | stock)
        begin(archive, None, PLAN, ANSWERS)
        day = register(archive)[0].opened[:10]
        page = archive_page("light", archive, [("26-0001", "next: cut A")], "letter")
    qtbot.addWidget(page)
    for looked_for, found in (("h-2231", 1), ("thread t-9", 1), (day, 2), ("cut", 1), ("H-2232", 0)):
        page.search.setText(looked_for)
        assert page.rows.count() == found, looked_for


def test_a_job_of_a_stations_own_hold_says_where_that_hold_is_missing(tmp_path: Path) -> None:
    """Begun with the hold of its station file, a job cannot be opened without one, and the words say what to choose."""
    station = station_of(tmp_path, "B")
    own = dataclasses.replace(station, hold=hold_named("main-hmpe", tmp_path))
    with Archive.open(tmp_path / "a.sqlite", bench=station.name, create=True) as archive:
        job, _ = begin(archive, own, PLAN, {**ANSWERS, "hold": STATION_HOLD})
        assert bench_of(archive, own, job, "lbf", "imperial").settings.pre_stretch == own.hold
        for without in (None, dataclasses.replace(station, hold=None)):
            with pytest.raises(SettingsFault, match="choose that file under Scale and pedal"):
                bench_of(archive, without, job, "lbf", "imperial")
