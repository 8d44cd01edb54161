"""What somebody may do who has the archive's file and knows how it works, and what verification says of it then.

Each story alters a real file with a tool of its own and asks `fidbench records verify`, as the shop would. Some leave a
file that fits together: then nothing is said of it, unless an anchor or the station's key was kept elsewhere.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from station.records.archive import Archive
from station.records.chain import FIRST_PREV, seal
from station.records.entries import Checked, Inspected, JobOpened, SignedOff, body_of
from station.records.rows import Row, StoredTrace
from station.records.signatures import Signer, can_be_checked
from tests.station.cli.commands import Ran, run
from tests.station.records.sample_job import BENCH, HELD, JOB, OPENED, TOO_SHORT, hold, pulled

pytestmark = pytest.mark.skipif(not can_be_checked(), reason="signing needs the extra sign")

AT = "2026-03-04T05:06:{:02d}.000000Z"
KEY, THIEF = Signer.of_seed(bytes(32)), Signer.of_seed(bytes([1] * 32))
Tables = tuple[list[Row], dict[str, StoredTrace]]
CapFd = pytest.CaptureFixture[str]


class Shop:
    """A signed archive of a job with a hold that is held and one that is not, and what was kept of it elsewhere."""

    def __init__(self, folder: Path, capfd: CapFd) -> None:
        self.path = folder / "archive.sqlite"
        self._capfd = capfd
        key = folder / "archive.sqlite.key"
        key.write_text(bytes(32).hex())
        key.chmod(0o600)
        bad, good = pulled(1, *TOO_SHORT), pulled(2, *HELD)
        with Archive.open(self.path, BENCH, create=True) as archive:
            for n, (entry, traces) in enumerate(
                (
                    (OPENED, ()),
                    (hold(("12",), bad, "A: pre-stretch"), (bad,)),
                    (hold(("12",), good, "A: pre-stretch"), (good,)),
                    (Checked(job=JOB, step="check: no twist", check="no twist"), ()),
                    (Inspected(job=JOB, step="second person", by="Tobin Hask", certificate="GG-031", finding="ok"), ()),
                    (SignedOff(job=JOB, step="sign", by="Ansa Velling", certificate="GG-118", statement="done"), ()),
                )
            ):
                archive.append(entry, AT.format(n), traces)
            self.hashes = [row.hash for row in archive.entries()]

    def altered(self, alter: Callable[[Tables], Tables]) -> None:
        """Alter the file's tables with a tool that takes its guards away first, and puts them back."""
        with Archive.open(self.path) as archive:
            stored = archive.stored_traces
            rows, traces = alter((list(archive.entries()), {name: stored[name] for name in stored}))
        with closing(sqlite3.connect(self.path, isolation_level=None)) as tool:
            guards = tool.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
            for name, _ in guards:
                tool.execute(f"DROP TRIGGER {name}")
            tool.execute("DELETE FROM entries")
            tool.execute("DELETE FROM traces")
            for row in rows:
                values = (row.bench, row.seq, row.job, row.kind, row.hash, row.body.decode(), row.names, row.signature)
                tool.execute("INSERT INTO entries VALUES (?, ?, ?, ?, ?, ?, ?, ?)", values)
            for each in traces.values():
                tool.execute("INSERT INTO traces VALUES (?, ?, ?)", (each.hash, each.blob, each.blob_hash))
            for _, sql in guards:
                tool.execute(sql)

    def verify(self, *words: str) -> Ran:
        """Ask for the verification, in words."""
        return run(self._capfd, "records", "verify", "--archive", self.path, *words)


@pytest.fixture
def shop(tmp_path: Path, capfd: CapFd) -> Shop:
    """Give the shop's archive."""
    return Shop(tmp_path, capfd)


def flowed(text: str) -> str:
    """Give text with every run of white space as one space."""
    return " ".join(text.split())


def anew(tables: Tables, alter: Callable[[dict[str, Any]], None], signer: Signer | None) -> Tables:
    """Make the whole chain anew, with facts altered, as one who knows how would."""
    rows: list[Row] = []
    for row in tables[0]:
        content = json.loads(row.body)
        alter(content["entry"])
        prev = rows[-1].hash if rows else FIRST_PREV
        link = seal(prev, row.bench, row.seq, content["at"], content["entry"], signer.public if signer else None)
        signature = signer.sign(link.body) if signer else ""
        rows.append(Row(row.bench, row.seq, row.job, row.kind, link.hash, link.body, row.names, signature))
    return rows, tables[1]


def another_check(facts: dict[str, Any]) -> None:
    """Say that another check was made."""
    if facts["kind"] == "checked":
        facts["check"] = "right grommet, no burr"


def held_after_all(facts: dict[str, Any]) -> None:
    """Say that a hold that was not held was."""
    if facts["kind"] == "hold-judged" and facts["judgement"]["verdict"] != "held":
        facts["judgement"] |= {"verdict": "held", "reasons": []}


def test_untouched_it_is_good_and_the_anchor_covers_all(shop: Shop) -> None:
    """Nothing is said of what nobody altered; its last hash vouches for all, and the key for every entry."""
    ran = shop.verify("--anchor", shop.hashes[-1], "--key", KEY.public)
    assert ran.status == 0
    assert "Nothing is damaged" in ran.out
    assert "hash of entry 6: it vouches for that entry and all before it" in flowed(ran.out)
    assert "6 entries" in ran.out


def test_a_cut_tail_is_found_by_an_anchor_and_by_nothing_else(shop: Shop) -> None:
    """The inspection and the signature are cut off: what is left is whole, and only the printed anchor tells."""
    shop.altered(lambda tables: (tables[0][:4], tables[1]))
    alone = shop.verify("--key", KEY.public)
    assert alone.status == 0
    assert "Without an anchor, entries cut off at the end, or a chain made anew, cannot be told" in flowed(alone.out)
    anchored = shop.verify("--anchor", shop.hashes[-1])
    assert anchored.status == 1
    assert "is of no entry here: the archive was cut or rebuilt since" in flowed(anchored.out)
    earlier = shop.verify("--anchor", shop.hashes[3])  # says nothing of what came after it
    assert (earlier.status, "hash of entry 4" in earlier.out) == (0, True)


@pytest.mark.parametrize(
    ("signer", "known"), [(THIEF, "signed by another key"), (None, "no entry is signed by the key")]
)
def test_a_chain_made_anew_is_found_by_an_anchor_or_by_the_key(shop: Shop, signer: Signer | None, known: str) -> None:
    """Made anew under another key or none it fits together; the anchor and the station's known key each tell."""
    shop.altered(lambda tables: anew(tables, another_check, signer))
    assert shop.verify().status == 0
    assert "is of no entry here" in flowed(shop.verify("--anchor", shop.hashes[-1]).out)
    keyed = shop.verify("--key", KEY.public)
    assert (keyed.status, known in flowed(keyed.out)) == (1, True)


def test_who_has_the_key_too_is_found_by_an_anchor_alone(shop: Shop) -> None:
    """A key on the same disk signs the forger's chain as well as the shop's; the anchor in other hands does not fit."""
    shop.altered(lambda tables: anew(tables, another_check, KEY))
    assert shop.verify("--key", KEY.public).status == 0
    assert shop.verify("--anchor", shop.hashes[-1]).status == 1


def test_no_chain_however_well_made_turns_a_lost_hold_into_a_held_one(shop: Shop) -> None:
    """Its readings say what they say: the verdict no longer follows, and the entry is named."""
    shop.altered(lambda tables: anew(tables, held_after_all, KEY))
    ran = shop.verify("--key", KEY.public)
    assert ran.status == 1
    assert "Entry 2: recorded as held; its trace judges as not held: the pull never came into the band." in flowed(
        ran.out
    )


def test_swapped_traces_are_found_at_both_holds(shop: Shop) -> None:
    """The good pull's readings under the bad pull's name, and the other way round."""

    def swapped(tables: Tables) -> Tables:
        (one, first), (other, second) = tables[1].items()
        return tables[0], {
            one: StoredTrace(one, second.blob, second.blob_hash),
            other: StoredTrace(other, first.blob, first.blob_hash),
        }

    shop.altered(swapped)
    said = flowed(shop.verify().out)
    assert "Entry 2: its trace is damaged" in said
    assert "Entry 3: its trace is damaged" in said


def test_a_forged_entry_needs_the_key(shop: Shop) -> None:
    """An entry sealed on the last one without a signature is named; without any key it could not be told."""

    def forged(tables: Tables) -> Tables:
        facts = body_of(Checked(job=JOB, step="check: knot", check="knot dressed"))
        link = seal(shop.hashes[-1], BENCH, 7, AT.format(9), facts, None)
        return [*tables[0], Row(BENCH, 7, JOB, "checked", link.hash, link.body, "{}", "")], tables[1]

    shop.altered(forged)
    ran = shop.verify("--anchor", shop.hashes[-1])
    assert ran.status == 1
    assert "Entry 7: it is not signed, and one before it is" in flowed(ran.out)
    shop.altered(lambda tables: anew(tables, lambda _: None, None))
    assert shop.verify().status == 0  # never signed at all: by nature nothing tells


@pytest.mark.parametrize(
    ("alter", "words"),
    [
        (lambda rows: [*rows[:3], *rows[4:]], "Entry 4: it is missing"),
        (lambda rows: rows[1:], "Entry 1: it is missing"),
        (lambda rows: [*rows, Row(BENCH, 7, *_tail(rows[3]))], "Entry 7: "),
        (
            lambda rows: [rows[0], Row(BENCH, 2, *_tail(rows[2])), Row(BENCH, 3, *_tail(rows[1])), *rows[3:]],
            "Entry 2: ",
        ),
    ],
    ids=["a hole", "the first gone", "one told twice", "two exchanged"],
)
def test_a_hole_a_copy_and_an_exchange_are_named(
    shop: Shop, alter: Callable[[list[Row]], list[Row]], words: str
) -> None:
    """Entries taken out, told twice or exchanged are found without an anchor, each by its number."""
    with Archive.open(shop.path) as archive:
        rows = alter(list(archive.entries()))
    shop.altered(lambda tables: (rows, tables[1]))
    ran = shop.verify()
    assert ran.status == 1
    assert words in flowed(ran.out)


def _tail(row: Row) -> tuple[str, str, str, bytes, str, str]:
    return row.job, row.kind, row.hash, row.body, row.names, row.signature


def test_a_replaced_key_is_found_where_its_public_half_was_kept(shop: Shop, tmp_path: Path) -> None:
    """A bench whose key file was replaced signs on; the key noted elsewhere tells from which entry on."""
    key = tmp_path / "archive.sqlite.key"
    key.write_text(bytes([1] * 32).hex())
    with Archive.open(shop.path, BENCH) as archive:
        archive.append(Checked(job=JOB, step="check: knot", check="knot dressed"), AT.format(9))
    alone = shop.verify()
    assert alone.status == 0
    assert alone.out.count("Signed by ") == 2  # both are shown, for whoever knows which one it should be
    keyed = shop.verify("--key", KEY.public)
    assert keyed.status == 1
    assert "Entry 7: it is signed by another key" in flowed(keyed.out)


def test_names_swapped_between_their_seals_are_found(shop: Shop) -> None:
    """The inspector's name put where the rigger's is sealed, each with its own salt, fits neither seal."""

    def swapped(tables: Tables) -> Tables:
        rows = list(tables[0])
        for n, (one, other) in ((0, ("people.worker", "people.supervisor")), (4, ("by", "certificate"))):
            names = json.loads(rows[n].names)
            names[one], names[other] = names[other], names[one]
            text = json.dumps(names, separators=(",", ":"), sort_keys=True)
            rows[n] = Row(BENCH, n + 1, rows[n].job, rows[n].kind, rows[n].hash, rows[n].body, text, rows[n].signature)
        return rows, tables[1]

    shop.altered(swapped)
    ran = shop.verify("--anchor", shop.hashes[-1])
    assert ran.status == 1
    said = flowed(ran.out)
    assert "Entry 1: the name under 'people.supervisor' is not the one that was sealed" in said
    assert "Entry 5: the name under 'by' is not the one that was sealed" in said
    with Archive.open(shop.path) as archive:
        opening = next(archive.entries()).entry
    assert isinstance(opening, JobOpened)
    assert opening.people["worker"] == "name altered"
