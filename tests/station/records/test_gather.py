from __future__ import annotations

import dataclasses
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

import station.records.gather as gathering
from station.measuring.trace import Trace
from station.records.archive import Archive, ArchiveFault
from station.records.entries import Checked, PieceCut
from station.records.gather import Taken, gather
from station.records.register import Asked, find
from station.records.verify import verify
from tests.station.cli.commands import run
from tests.station.records.archives import AT, is_whole
from tests.station.records.sample_job import OPENED, hold, pulled
from tests.station.records.server import server

TRACE = pulled(1, (0.5, 30, 31))


def bench_files(path: Path, bench: str, job: str, trace: Trace = TRACE) -> Path:
    """File a short job at a bench of its own."""
    with Archive.open(path, bench=bench, create=True) as archive:
        archive.append(dataclasses.replace(OPENED, job=job), AT)
        archive.append(PieceCut(job=job, line="A", piece="12", length_um=None), AT)
        archive.append(dataclasses.replace(hold(("12",), trace, "A: pre-stretch"), job=job), AT, [trace])
    return path


@pytest.fixture(params=["file", "server"])
def shop(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Give where the shop's archive is to be: in a file, and on a real server."""
    if request.param == "file":
        yield str(tmp_path / "shop.sqlite")
        return
    pytest.importorskip("psycopg", reason="archives on a server need the extra postgres")
    with server() as running:
        yield running.new()


def test_two_benches_that_were_off_line_are_gathered(shop: str, tmp_path: Path) -> None:
    """Both chains come over unchanged, verify, are found in together, go on, and are gathered again without doubles."""
    one = bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")
    two = bench_files(tmp_path / "two.sqlite", "Bench 2", "26-0002")  # the same pull: its trace is kept once
    assert gather(str(one), shop, create=True) == {"Bench 1": Taken(0, 3)}
    assert gather(str(two), shop) == {"Bench 2": Taken(0, 3)}
    assert gather(str(one), shop) == {"Bench 1": Taken(3, 3)}
    with Archive.open(one, bench="Bench 1") as archive:
        archive.append(Checked(job="26-0001", check="no twist"), AT)
    assert gather(str(one), shop) == {"Bench 1": Taken(3, 4)}
    with Archive.open(shop) as archive:
        rows = list(archive.entries())
        found = verify(rows, archive.stored_traces, None, archive.unsound(), archive.unguarded())
        assert (found.good, found.entries, found.remarks) == (True, 7, ())
        assert [each.line.job for each in find(archive, Asked(lot="h-2231"))] == ["26-0001", "26-0002"]
        assert [each.pieces for each in find(archive, Asked(lot="H-2231", rigger="velling"))] == [("12",), ("12",)]
        assert len(archive.saying("hold-judged", "entry.scale", "/dev/serial/by-id/usb-bench-scale")) == 2
    own = []
    for path in (one, two):
        with Archive.open(path) as archive:
            own += list(archive.entries())
    assert rows == own


def test_a_chain_that_forks_is_refused_and_nothing_is_taken(shop: str, tmp_path: Path) -> None:
    """Two archives that wrote as one bench are told apart at the first entry that differs."""
    one = bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")
    other = tmp_path / "other.sqlite"
    with Archive.open(one) as archive:
        archive.backup(other)
    for path, check in ((one, "no twist"), (other, "pins counted back")):
        with Archive.open(path, bench="Bench 1") as archive:
            for n in range(5):
                archive.append(Checked(job="26-0001", check=f"{check} {n}"), AT)
    gather(str(one), shop, create=True)
    with pytest.raises(ArchiveFault, match=r"the chain of Bench 1 forks .* entry 4 is another in each"):
        gather(str(other), shop)
    with Archive.open(shop) as archive:
        assert archive.count() == 8


def test_where_one_of_several_chains_is_refused_nothing_of_the_others_is_taken(tmp_path: Path) -> None:
    """A source of two benches is taken whole or not at all, as the refusal says."""
    shop = bench_files(tmp_path / "shop.sqlite", "Bench 2", "26-0009")
    own = bench_files(tmp_path / "own.sqlite", "Bench 1", "26-0001")
    bench_files(own, "Bench 2", "26-0002")
    with pytest.raises(ArchiveFault, match=r"the chain of Bench 2 forks .* nothing was taken"):
        gather(str(own), str(shop))
    with Archive.open(shop) as archive:
        assert set(archive.heads()) == {"Bench 2"}


def test_an_archive_is_not_gathered_into_itself(shop: str, tmp_path: Path) -> None:
    """The archive to gather into is no source, by whatever name it is called."""
    gather(str(bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")), shop, create=True)
    other = shop if "://" in shop else f"sqlite:///{tmp_path}/./shop.sqlite"
    with pytest.raises(ArchiveFault, match="is the archive it is to be gathered into"):
        gather(other, shop)


def test_a_damaged_archive_is_not_gathered(tmp_path: Path) -> None:
    """What does not verify is refused with the entry, and the shop's archive is not even made."""
    one = bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")
    with closing(sqlite3.connect(one)) as connection:
        connection.execute("DROP TRIGGER entries_unaltered")
        connection.execute("""UPDATE entries SET body = replace(body, '"piece":"12"', '"piece":"13"') WHERE seq = 2""")
        connection.commit()
    with pytest.raises(ArchiveFault, match=r"does not verify \(entry 2: its text was altered"):
        gather(str(one), str(tmp_path / "shop.sqlite"), create=True)
    assert not (tmp_path / "shop.sqlite").exists()


def test_a_verdict_that_does_not_follow_is_not_gathered(tmp_path: Path) -> None:
    """A chain whose every hash fits, and which calls a hold held that its readings do not prove, is refused."""
    own = tmp_path / "own.sqlite"
    fact = hold(("12",), TRACE, "A: pre-stretch")
    with Archive.open(own, bench="Bench 1", create=True) as archive:
        archive.append(dataclasses.replace(fact, judgement={**fact.judgement, "verdict": "held"}), AT, [TRACE])
    with pytest.raises(
        ArchiveFault, match=r"does not verify \(entry 1: recorded as held: .* its trace judges as not held"
    ):
        gather(str(own), str(tmp_path / "shop.sqlite"), create=True)
    assert not (tmp_path / "shop.sqlite").exists()


def test_a_job_number_given_twice_is_two_jobs(shop: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """Where two benches gave one number to a job each, both come over whole, and each is found and shown apart."""
    one = bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")
    two = bench_files(tmp_path / "two.sqlite", "Bench 2", "26-0001")
    bench_files(two, "Bench 2", "26-0002", pulled(2, (0.5, 30, 31)))
    gather(str(one), shop, create=True)
    assert gather(str(two), shop) == {"Bench 2": Taken(0, 6)}
    first, second = "26-0001 of Bench 1", "26-0001 of Bench 2"
    with Archive.open(shop) as archive:
        rows = list(archive.entries())
        assert verify(rows, archive.stored_traces, None, archive.unsound(), archive.unguarded()).good
        assert archive.jobs() == {first: 3, second: 3, "26-0002": 3}
        assert archive.jobs([second, "26-0002"]) == {second: 3, "26-0002": 3}
        assert list(archive.entries(second)) == rows[3:6]
        found = find(archive, Asked(lot="H-2231", rigger="velling"))
        assert [(each.line.job, each.line.bench, each.line.entries) for each in found] == [
            (first, "Bench 1", 3), (second, "Bench 2", 3), ("26-0002", "Bench 2", 3)
        ]  # fmt: skip
        assert archive.new_job_id(2026) == "26-0003"
        with pytest.raises(ArchiveFault, match=f"2 benches .* say which: '{first}' and '{second}'"):
            list(archive.entries("26-0001"))
    assert run(capfd, "records", "show", "26-0001", "--archive", shop).status == 2
    shown = run(capfd, "records", "show", second, "--archive", shop, "--json").json
    assert [each["bench"] for each in shown["entries"]] == ["Bench 2"] * 3
    with Archive.open(shop, bench="Bench 2") as archive:  # at its own bench a number means its own job
        assert list(archive.entries("26-0001")) == rows[3:6]


def test_benches_with_marks_never_number_alike(shop: str, tmp_path: Path) -> None:
    """Benches that number their jobs off line on one day, each with its mark, give numbers that all differ."""
    for bench, mark in (("Bench 1", ""), ("Bench 2", "B"), ("Bench 3", "C")):
        path = tmp_path / f"{bench}.sqlite"
        for n in range(2):
            with Archive.open(path, bench=bench, create=True) as archive:
                job = archive.new_job_id(2026, mark)
            bench_files(path, bench, job, pulled(n, (0.5, 30, 31)))
        gather(str(path), shop, create=True)
    with Archive.open(shop) as archive:
        assert list(archive.jobs()) == ["26-0001", "26-0002", "26-B0001", "26-B0002", "26-C0001", "26-C0002"]
        assert [archive.new_job_id(2026, mark) for mark in ("", "B", "D")] == ["26-0003", "26-B0003", "26-D0001"]
        assert verify(archive.entries(), archive.stored_traces).good


def test_a_chain_that_is_written_to_meanwhile_is_held_or_refused(tmp_path: Path, monkeypatch: Any) -> None:
    """What a bench writes between the look at its chain and the taking is seen: nothing is doubled or mixed."""
    own = bench_files(tmp_path / "own.sqlite", "Bench 1", "26-0001")
    shop = tmp_path / "shop.sqlite"
    gather(str(own), str(shop), create=True)
    with Archive.open(own, bench="Bench 1") as archive:
        archive.append(Checked(job="26-0001", check="no twist"), AT)
    looked = gathering._before

    def then_written(*args: Any) -> int:
        with Archive.open(shop) as archive:
            stands = archive.count()
        monkeypatch.setattr(gathering, "_before", then_refused)
        before = looked(*args)
        assert before == stands
        args[1].append(Checked(job="26-0001", check="written meanwhile, as if by another program"), AT)
        return before

    def then_refused(*args: Any) -> int:
        with pytest.raises(ArchiveFault, match="is in use by another program"):
            Archive.open(shop, bench="Bench 1")  # the chain is held while it is looked at and taken
        return looked(*args)

    monkeypatch.setattr(gathering, "_before", then_written)
    with pytest.raises(ArchiveFault, match=r"the chain of Bench 1 forks .* entry 4 is another in each"):
        gather(str(own), str(shop))
    assert is_whole(shop) == 4


def test_the_command_says_what_was_taken(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """A person reads how many entries came, a program the same as JSON, and a missing archive ends with 2."""
    one = bench_files(tmp_path / "one.sqlite", "Bench 1", "26-0001")
    shop = tmp_path / "shop.sqlite"
    ran = run(capfd, "records", "gather", one, "--archive", shop)
    assert (ran.status, ran.out, shop.exists()) == (2, "", False)
    assert "there is no archive here; see whether the name is right, or say --new to make one there" in ran.err
    ran = run(capfd, "records", "gather", one, "--archive", shop, "--new")
    assert (ran.status, ran.out) == (0, f"{shop}: a new archive\nBench 1: 3 new entries, up to entry 3\n")
    ran = run(capfd, "records", "gather", one, "--archive", shop, "--json")
    assert ran.json == {"benches": [{"bench": "Bench 1", "before": 3, "now": 3}]}
    assert run(capfd, "records", "gather", tmp_path / "no.sqlite", "--archive", shop).status == 2
