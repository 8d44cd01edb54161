"""Whether altering a record is found: `python -m tests.campaigns.tamper --json [--size BITS]`.

A small signed archive, of a job with two holds, is altered in its tables, and verified:

- every byte of every column of every row, each of its bits in turn (the first `--size` of the eight);
- attacks of somebody who knows how the archive works and may write to it, each by its name. Some of them cannot be
  found by nature: without an anchor a cut tail looks whole, and whoever makes the whole chain anew may say what he
  likes. Those are tried as well, so that it stands here what needs an anchor, or the station's key from elsewhere.

`survived` counts what was found, or what could not be and was as expected; `lost` what was altered and not found.
"""

from __future__ import annotations

import dataclasses
import json
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from station.measuring.hold import typed_uncertainty
from station.records.archive import Archive
from station.records.chain import FIRST_PREV, seal
from station.records.entries import Checked, SignedOff, body_of
from station.records.examine import Examined, examine
from station.records.rows import Row, StoredTrace
from station.records.signatures import Signer
from station.records.verify import Verification, verify, verify_examined
from station.settings.hold import HoldSpecification
from tests.campaigns.campaign import Finding, Progress, run
from tests.station.records.sample_job import JOB, OPENED, hold, pulled

BENCH = "Bench 1"
AT = "2026-03-04T05:06:{:02d}.000000Z"
SHORT = HoldSpecification("short", 130_000, 125_000, 200_000, 260_000, duration_us=100_000)
KEY, OTHER_KEY = Signer.of_seed(bytes(32)), Signer.of_seed(bytes([1] * 32))
TEXTS = ("bench", "job", "kind", "hash", "names", "signature")
SEQ_BITS = 63


class Tables(NamedTuple):
    """What an archive holds."""

    rows: tuple[Row, ...]
    traces: Mapping[str, StoredTrace]


def filed(folder: Path, signed: bool = True) -> Tables:
    """File a small job; give what the archive holds then."""
    key = folder / "key"
    key.write_text(bytes(32).hex())
    key.chmod(0o600)
    held, lost = pulled(1, (0.2, 30, 31)), pulled(2, (0.2, 22, 22.5))
    with Archive.open(folder / "a.sqlite", BENCH, create=True, key=key if signed else None) as archive:
        for seq, (entry, traces) in enumerate(
            (
                (OPENED, ()),
                (hold(("12",), lost, "A: pre-stretch", typed_uncertainty(900), SHORT), (lost,)),
                (hold(("12",), held, "A: pre-stretch", typed_uncertainty(900), SHORT), (held,)),
                (Checked(job=JOB, step="checks", check="no twist"), ()),
                (SignedOff(job=JOB, by="Ansa Velling", certificate="GG-118", statement="done"), ()),
            )
        ):
            archive.append(entry, AT.format(seq), traces)
        stored = archive.stored_traces
        return Tables(tuple(archive.entries()), {name: stored[name] for name in stored})


# Flips


def flipped(old: bytes, bits: int) -> Iterator[bytes]:
    """Give the bytes with each bit of each of them altered in turn."""
    for place in range(len(old)):
        for bit in range(bits):
            new = bytearray(old)
            new[place] ^= 1 << bit
            yield bytes(new)


def rows_flipped(row: Row, bits: int) -> Iterator[tuple[str, Row]]:
    """Give a row altered in one bit, and in which column."""
    for column in TEXTS:
        for new in flipped(getattr(row, column).encode(), bits):
            yield column, dataclasses.replace(row, **{column: new.decode("utf-8", "surrogateescape")})
    for new in flipped(row.body, bits):
        yield "body", dataclasses.replace(row, body=new)
    for bit in range(SEQ_BITS):
        yield "seq", dataclasses.replace(row, seq=row.seq ^ (1 << bit))


def traces_flipped(stored: StoredTrace, bits: int) -> Iterator[tuple[str, StoredTrace]]:
    """Give a stored trace altered in one bit, and in which column."""
    for column in ("hash", "blob_hash"):
        for new in flipped(getattr(stored, column).encode(), bits):
            yield column, dataclasses.replace(stored, **{column: new.decode("utf-8", "surrogateescape")})
    for new in flipped(stored.blob, bits):
        yield "blob", dataclasses.replace(stored, blob=new)


def in_order(rows: Sequence[Examined]) -> list[Examined]:
    """Give rows as an archive does, by bench and number."""
    return sorted(rows, key=lambda row: (row.bench.encode("utf-8", "surrogateescape"), row.seq))


def flip_all(tables: Tables, bits: int) -> tuple[int, list[str]]:
    """Alter every bit in turn and verify; give how many, and which were not found."""
    known = [examine(row, tables.traces) for row in tables.rows]
    tried, unnoticed = 0, []
    tell = Progress(len(tables.rows) + len(tables.traces), "rows and traces altered bit by bit")
    for n, row in enumerate(tables.rows):
        for column, altered in rows_flipped(row, bits):
            tried += 1
            rows = in_order([*known[:n], examine(altered, tables.traces), *known[n + 1 :]])
            if verify_examined(rows, tables.traces).good:
                unnoticed.append(f"entry {row.seq}, {column}: {getattr(altered, column)!r}")
        tell(n + 1)
    for n, (name, stored) in enumerate(tables.traces.items(), len(tables.rows)):
        for column, altered_trace in traces_flipped(stored, bits):
            tried += 1
            traces = {altered_trace.hash if each == name else each: s for each, s in tables.traces.items()}
            traces[altered_trace.hash] = altered_trace
            if verify(tables.rows, traces).good:
                unnoticed.append(f"trace {name[:12]}, {column}")
        tell(n + 1)
    return tried, unnoticed


# Attacks


def with_row(tables: Tables, n: int, **columns: Any) -> Tables:
    """Give the tables with columns of the n-th row altered."""
    rows = list(tables.rows)
    rows[n] = dataclasses.replace(rows[n], **columns)
    return tables._replace(rows=tuple(rows))


def without(tables: Tables, n: int, renumbered: bool = False) -> Tables:
    """Give the tables without the n-th row; the later ones may move up."""
    later = [dataclasses.replace(row, seq=row.seq - renumbered) for row in tables.rows[n + 1 :]]
    return tables._replace(rows=(*tables.rows[:n], *later))


def exchanged(tables: Tables, first: int, second: int) -> Tables:
    """Give the tables with two entries in each other's place."""
    rows = list(tables.rows)
    at_first, at_second = rows[first].seq, rows[second].seq
    rows[first], rows[second] = (
        dataclasses.replace(rows[second], seq=at_first),
        dataclasses.replace(rows[first], seq=at_second),
    )
    return tables._replace(rows=tuple(rows))


def anew(tables: Tables, alter: Callable[[int, dict[str, Any]], None], signer: Signer | None, since: int = 0) -> Tables:
    """Make the chain anew from the row `since` on, with facts altered, as one who knows how would."""
    rows: list[Row] = list(tables.rows[:since])
    for row in tables.rows[since:]:
        content = json.loads(row.body)
        alter(row.seq, content["entry"])
        prev = rows[-1].hash if rows else FIRST_PREV
        link = seal(prev, row.bench, row.seq, content["at"], content["entry"], signer.public if signer else None)
        signature = signer.sign(link.body) if signer else ""
        rows.append(dataclasses.replace(row, hash=link.hash, body=link.body, signature=signature))
    return tables._replace(rows=tuple(rows))


def forged(tables: Tables, signer: Signer | None) -> Tables:
    """Give the tables with one more entry, sealed on the last one."""
    last = tables.rows[-1]
    facts = body_of(Checked(job=JOB, step="checks", check="right grommet, no burr"))
    link = seal(last.hash, BENCH, last.seq + 1, AT.format(30), facts, signer.public if signer else None)
    row = Row(BENCH, link.seq, JOB, "checked", link.hash, link.body, "{}", signer.sign(link.body) if signer else "")
    return tables._replace(rows=(*tables.rows, row))


def nothing(_seq: int, _facts: dict[str, Any]) -> None:
    """Alter nothing."""


def held_instead(seq: int, facts: dict[str, Any]) -> None:
    """Have the hold that was not held be held."""
    if seq == 2:
        facts["judgement"] |= {"verdict": "held", "reasons": []}


def other_check(seq: int, facts: dict[str, Any]) -> None:
    """Have another check made."""
    if seq == 4:
        facts["check"] = "right grommet, no burr"


def replaced_trace(tables: Tables) -> Tables:
    """Put the trace of the good hold under the name of the bad one's."""
    bad, good = (json.loads(tables.rows[n].body)["entry"]["trace"] for n in (1, 2))
    traces = dict(tables.traces)
    traces[bad] = dataclasses.replace(traces[good], hash=bad)
    return tables._replace(traces=traces)


def exchanged_traces(tables: Tables) -> Tables:
    """Exchange the traces of the two holds."""
    (one, first), (other, second) = tables.traces.items()
    traces = {one: dataclasses.replace(second, hash=one), other: dataclasses.replace(first, hash=other)}
    return tables._replace(traces=traces)


class Attack(NamedTuple):
    """An attack by its name: what it leaves, what is known when it is looked for, and whether it can be found."""

    name: str
    left: Tables
    anchor: str | None = None
    key: str | None = None
    can_be_found: bool = True


def attacks(signed: Tables, plain: Tables) -> list[Attack]:
    """Give every attack. `plain` is the same archive of a station without a key."""
    head, early = signed.rows[-1].hash, signed.rows[2].hash
    plain_head, plain_early = plain.rows[-1].hash, plain.rows[2].hash
    body = signed.rows[1].body
    extra = StoredTrace.of(pulled(3, (0.1, 30, 30)).pack())
    one_name = next(iter(signed.traces))
    no_names = '{"by":["Somebody Else","' + "0" * 32 + '"]}'
    found = [
        Attack(
            "a figure altered in a hold's text", with_row(signed, 1, body=body.replace(b'"peak_mn":', b'"peak_mn":1'))
        ),
        Attack("a verdict altered in its text", with_row(signed, 1, body=body.replace(b'"not-held"', b'"held"'))),
        Attack("an entry dropped", without(signed, 3)),
        Attack("the first entry dropped", without(signed, 0)),
        Attack("an entry dropped, the later ones moved up", without(signed, 3, renumbered=True)),
        Attack(
            "a hold dropped with its trace",
            without(signed, 1)._replace(
                traces={k: v for k, v in signed.traces.items() if k != json.loads(body)["entry"]["trace"]}
            ),
        ),
        Attack("two entries exchanged", exchanged(signed, 1, 2)),
        Attack("an entry told twice", signed._replace(rows=(*signed.rows, dataclasses.replace(signed.rows[3], seq=6)))),
        Attack("an entry forged at the end, not signed", forged(signed, None)),
        Attack(
            "an entry forged at the end, signed by another key, the station's key known",
            forged(signed, OTHER_KEY),
            key=KEY.public,
        ),
        Attack("a trace exchanged with another hold's", exchanged_traces(signed)),
        Attack("a good trace under a bad hold's name", replaced_trace(signed)),
        Attack("a trace taken out", signed._replace(traces={k: v for k, v in signed.traces.items() if k != one_name})),
        Attack("a trace put in", signed._replace(traces={**signed.traces, extra.hash: extra})),
        Attack("another name put beside an entry", with_row(signed, 4, names=no_names)),
        Attack("a signature taken out", with_row(signed, 3, signature="")),
        Attack("a signature of another entry", with_row(signed, 3, signature=signed.rows[2].signature)),
        Attack("a verdict forged, the chain made anew", anew(plain, held_instead, None)),
        Attack(
            "a verdict forged, the chain made anew and signed with the station's own key",
            anew(signed, held_instead, KEY),
        ),
        Attack("the tail cut off, an anchor kept", signed._replace(rows=signed.rows[:3]), anchor=head),
        Attack(
            "a check forged, the chain made anew, an anchor kept", anew(plain, other_check, None, 3), anchor=plain_head
        ),
        Attack(
            "a check forged, signed with the station's own key, an anchor kept",
            anew(signed, other_check, KEY, 3),
            anchor=head,
        ),
        Attack("a check forged from there on without signatures", anew(signed, other_check, None, 3)),
        Attack(
            "all made anew without signatures, the station's key known", anew(signed, other_check, None), key=KEY.public
        ),
        Attack(
            "all made anew under another key, the station's key known",
            anew(signed, other_check, OTHER_KEY),
            key=KEY.public,
        ),
        Attack(
            "made anew from there on under another key, the station's key known",
            anew(signed, other_check, OTHER_KEY, 3),
            key=KEY.public,
        ),
    ]
    by_nature = [
        Attack("made anew from there on under another key, no key known", anew(signed, other_check, OTHER_KEY, 3)),
        Attack("the tail cut off, no anchor", without(signed, 4)),
        Attack("a check forged, the chain made anew, no anchor, no key", anew(plain, other_check, None, 3)),
        Attack(
            "a check forged after the entry whose anchor was kept, no key",
            anew(plain, other_check, None, 3),
            anchor=plain_early,
        ),
        Attack("an entry forged at the end, no key", forged(plain, None), anchor=plain_head),
        Attack("all made anew without signatures, the station's key not known", anew(signed, other_check, None)),
        Attack("all made anew under another key, the station's key not known", anew(signed, other_check, OTHER_KEY)),
        Attack(
            "a check forged, signed with the station's own key, no anchor",
            anew(signed, other_check, KEY, 3),
            key=KEY.public,
        ),
        Attack("nothing altered, all signed anew with the station's own key", anew(signed, nothing, KEY), anchor=early),
    ]
    return found + [each._replace(can_be_found=False) for each in by_nature]


def said_of(found: Verification) -> list[str]:
    """Give what verification says, in words."""
    damaged = [f"entry {each.seq}: {each.what}" if each.seq else each.what for each in found.damaged]
    return damaged + [f"entry {each.seq}: {each.what}" for each in found.verdicts_changed]


def tamper(_seed: int, size: int) -> Finding:
    """Alter every bit, and try every attack."""
    with tempfile.TemporaryDirectory() as one, tempfile.TemporaryDirectory() as other:
        signed, plain = filed(Path(one)), filed(Path(other), signed=False)
    whole = [verify(tables.rows, tables.traces) for tables in (signed, plain)]
    bits, unnoticed = flip_all(signed, min(size, 8))
    told = []
    for attack in attacks(signed, plain):
        found = verify(attack.left.rows, attack.left.traces, attack.anchor, key=attack.key)
        told.append(
            {
                "attack": attack.name,
                "can_be_found": attack.can_be_found,
                "found": not found.good,
                "said": said_of(found)[:2],
            }
        )
    missed = [each for each in told if each["can_be_found"] and not each["found"]]
    surprising = [each for each in told if not each["can_be_found"] and each["found"]]
    unfindable = [each["attack"] for each in told if not each["can_be_found"]]
    tried, lost = bits + len(told), len(unnoticed) + len(missed)
    figures = {
        "tried": tried,
        "survived": tried - lost,
        "lost": lost,
        "bits_altered": bits,
        "bits_not_found": unnoticed[:20],
        "attacks": told,
        "attacks_found": sum(bool(each["found"]) for each in told),
        "attacks_missed": [each["attack"] for each in missed],
        "not_to_be_found_by_nature": unfindable,
    }
    words = (
        f"{bits} single bits altered in the tables, {len(unnoticed)} not found. Of {len(told)} attacks "
        f"{figures['attacks_found']} were found, {len(missed)} missed, and {len(unfindable)} cannot be found by "
        f"nature: {'; '.join(unfindable)}."
    )
    return Finding(figures, words, not lost and not surprising and all(each.good for each in whole))


if __name__ == "__main__":
    sys.exit(run(__doc__, 8, "bits", tamper))
