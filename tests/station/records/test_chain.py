from __future__ import annotations

import dataclasses
import hashlib
import json
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.records.chain import (
    FIRST_PREV,
    BodyFault,
    Checker,
    Link,
    SealError,
    check,
    digest,
    read_body,
    seal,
    utc_text,
)

AT = "2026-03-04T05:06:07.123456Z"
BENCH = "Bench 1"

sealable = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)


def chained(count: int, bench: str = BENCH, job: str = "26-0001") -> list[Link]:
    """Give a whole chain of so many entries."""
    links: list[Link] = []
    for seq in range(1, count + 1):
        prev = links[-1].hash if links else FIRST_PREV
        links.append(seal(prev, bench, seq, AT, {"kind": "checked", "job": job, "check": f"check {seq}"}))
    return links


def resealed(link: Link, **parts: Any) -> Link:
    """Give a link with parts of its body altered and its hash made to fit."""
    content = json.loads(link.body) | parts
    body = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    return Link(link.seq, body, digest(body))


def told(links: list[Link]) -> list[tuple[int | None, str]]:
    """Give what is told of a chain."""
    return [(damage.seq, damage.what) for damage in check(links)]


@given(st.dictionaries(st.text(), sealable, max_size=4))
def test_what_is_sealed_reads_back(entry: dict[str, Any]) -> None:
    """Whatever can be sealed is read back equal from the body, and its chain is whole."""
    link = seal(FIRST_PREV, BENCH, 1, AT, entry)
    assert read_body(link.body)["entry"] == entry
    assert link.hash == hashlib.sha256(link.body).hexdigest()
    assert check([link]) == []


def test_order_of_keys_does_not_matter() -> None:
    """The same facts in another order are the same bytes."""
    one = seal(FIRST_PREV, BENCH, 1, AT, {"a": 1, "b": {"c": 2, "d": 3}})
    assert one == seal(FIRST_PREV, BENCH, 1, AT, {"b": {"d": 3, "c": 2}, "a": 1})


@pytest.mark.parametrize(
    ("entry", "where"),
    [
        ({"pull_mn": 1.5}, "entry.pull_mn"),
        ({"a": [{"b": 2.0}]}, "entry.a[0].b"),
        ({"a": float("nan")}, "entry.a"),
        ({"a": b"bytes"}, "entry.a"),
        ({"a": {1, 2}}, "entry.a"),
    ],
)
def test_a_float_is_refused_wherever_it_stands(entry: dict[str, Any], where: str) -> None:
    """A float, or anything else that does not hash the same everywhere, is refused by the place where it stands."""
    with pytest.raises(SealError, match="expected integers and text") as fault:
        seal(FIRST_PREV, BENCH, 1, AT, entry)
    assert str(fault.value).startswith(f"{where}:")


@pytest.mark.parametrize("entry", [{"n": 2**53}, {"n": -(2**53)}, {"s": "\ud800"}, {"\udfff": 1}])
def test_what_json_cannot_carry_is_refused(entry: dict[str, Any]) -> None:
    """A number beyond 2^53 and half a surrogate pair cannot be written as canonical JSON."""
    with pytest.raises(SealError, match="canonical JSON"):
        seal(FIRST_PREV, BENCH, 1, AT, entry)


@pytest.mark.parametrize(
    "at",
    [
        "2026-03-04T05:06:07Z",
        "2026-03-04T05:06:07.123456",
        "2026-03-04T05:06:07.123456+00:00",
        "2026-13-04T05:06:07.123456Z",
        "2026-03-04 05:06:07.123456Z",
        "",
    ],
)
def test_a_time_that_is_no_utc_text_is_refused(at: str) -> None:
    """Only UTC with microseconds is a time to seal."""
    with pytest.raises(SealError, match="expected UTC text"):
        seal(FIRST_PREV, BENCH, 1, at, {})


@pytest.mark.parametrize(
    ("prev", "seq"), [(FIRST_PREV, 2), ("a" * 64, 1), (FIRST_PREV, 0), ("a" * 64, 0), ("A" * 64, 2), ("a", 2)]
)
def test_a_first_entry_that_is_not_first_is_refused(prev: str, seq: int) -> None:
    """Zeros stand before the first entry and before no other."""
    with pytest.raises(SealError):
        seal(prev, BENCH, seq, AT, {})


def test_a_time_without_its_zone_is_refused() -> None:
    """A time of no zone is no time to seal."""
    with pytest.raises(ValueError, match="without its zone"):
        utc_text(datetime(2026, 3, 4))


def test_the_hash_is_recomputed_without_this_program() -> None:
    """A body is plain JSON with sorted keys, and its hash is what any SHA-256 gives: no program of ours is needed."""
    link = chained(2)[1]
    content = json.loads(link.body)
    assert content["prev"] == chained(1)[0].hash
    plain = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    assert hashlib.sha256(plain).hexdigest() == link.hash


def test_a_whole_chain_has_no_damage() -> None:
    """A chain as it was sealed, and the empty one, are whole."""
    assert check([]) == []
    assert check(chained(6)) == []
    checker = Checker()
    assert checker.head is None
    assert checker.end() == []


@given(st.data())
def test_any_altered_byte_of_any_entry_is_found_at_that_entry(data: st.DataObject) -> None:
    """One byte altered in a body or a hash is damage at that entry and at no other."""
    links = chained(4)
    n = data.draw(st.integers(0, 3))
    bit = 1 << data.draw(st.integers(0, 7))
    if data.draw(st.booleans()):
        body = bytearray(links[n].body)
        body[data.draw(st.integers(0, len(body) - 1))] ^= bit
        links[n] = dataclasses.replace(links[n], body=bytes(body))
    else:
        recorded = bytearray(links[n].hash.encode())
        recorded[data.draw(st.integers(0, 63))] ^= bit
        links[n] = dataclasses.replace(links[n], hash=recorded.decode("latin-1"))
    assert [seq for seq, _ in told(links)] == [n + 1]


def test_it_is_told_whether_text_or_hash_was_altered() -> None:
    """The next entry tells which of the two still is what it was sealed on."""
    links = chained(3)
    text = dataclasses.replace(links[1], body=links[1].body.replace(b"check 2", b"check 9"))
    assert told([links[0], text, links[2]]) == [(2, "its text was altered after it was sealed")]
    mark = dataclasses.replace(links[1], hash="0" * 64)
    assert told([links[0], mark, links[2]]) == [
        (2, "its hash was altered; its text is the one that the next entry was sealed on")
    ]
    both = dataclasses.replace(text, hash="0" * 64)
    assert told([links[0], both, links[2]]) == [(2, "its text and its hash were altered after it was sealed")]
    last = dataclasses.replace(links[2], hash="0" * 64)
    assert told([*links[:2], last]) == [
        (3, "its text and its hash do not belong together: one was altered after it was sealed")
    ]


def test_an_entry_altered_and_sealed_again_is_found_by_its_successor() -> None:
    """Whoever alters an entry and makes its hash anew is told by what the next one was sealed on."""
    links = chained(4)
    links[1] = resealed(links[1], entry={"kind": "checked", "job": "26-0001", "check": "what suits me"})
    assert told(links) == [
        (2, "it is not what the next entry was sealed on: it was altered and sealed again, or exchanged")
    ]


@pytest.mark.parametrize("dropped", [1, 2, 3, 4])
def test_a_dropped_entry_is_missing(dropped: int) -> None:
    """An entry taken out from before the last is missing, by its number."""
    links = [link for link in chained(5) if link.seq != dropped]
    assert told(links) == [(dropped, "it is missing")]


def test_several_dropped_entries_are_told_as_one_hole() -> None:
    """A hole is told once, from where to where."""
    links = chained(7)
    assert told([links[0], *links[4:]]) == [(2, "entries 2 to 4 are missing")]


def test_an_altered_entry_after_a_hole_keeps_its_place() -> None:
    """An entry whose text cannot be believed stands where its number says, also where the one before it is missing."""
    links = chained(4)
    links[2] = dataclasses.replace(links[2], body=links[2].body.replace(b"check 3", b"check 9"))
    assert told([links[0], *links[2:]]) == [(2, "it is missing"), (3, "its text was altered after it was sealed")]


def test_a_cut_tail_cannot_be_told_without_an_anchor() -> None:
    """What is left of a chain whose last entries were cut off looks whole: this is what anchors are for."""
    assert check(chained(5)[:3]) == []


def test_two_texts_exchanged_are_found_at_both() -> None:
    """Two entries that changed places, numbers and all, are told at both places."""
    links = chained(4)
    links[1], links[2] = dataclasses.replace(links[2], seq=2), dataclasses.replace(links[1], seq=3)
    assert told(links) == [(2, "it holds the text of entry 3"), (3, "it holds the text of entry 2")]


def test_two_entries_in_the_wrong_order_are_found() -> None:
    """Entries that come in another order than their numbers are told."""
    links = chained(4)
    assert told([links[0], links[2], links[1], links[3]]) == [
        (2, "it is missing"),
        (2, "it stands out of its order"),
    ]


def test_a_doubled_entry_is_found() -> None:
    """An entry that stands there twice is told once."""
    links = chained(3)
    assert told([*links[:2], links[1], links[2]]) == [(2, "it stands here a second time")]


def test_an_entry_that_was_renumbered_is_found_where_it_is_and_where_it_should_be() -> None:
    """A number altered leaves a hole and an entry that does not belong."""
    links = chained(4)
    links[1] = dataclasses.replace(links[1], seq=9)
    links.sort(key=lambda link: link.seq)
    assert told(links) == [(2, "it is missing"), (9, "it holds the text of entry 2")]


def test_damage_is_told_in_the_order_of_the_entries() -> None:
    """An entry that takes no place in the chain is told after those before it, though it is known first."""
    links = chained(4)
    links[1] = dataclasses.replace(links[1], seq=9)
    links[3] = dataclasses.replace(links[3], body=links[3].body.replace(b"check 4", b"check 9"))
    links.sort(key=lambda link: link.seq)
    assert [seq for seq, _ in told(links)] == [2, 4, 9]


def test_an_entry_of_another_bench_is_found() -> None:
    """An entry from another bench's chain does not pass for one of this bench's."""
    links = chained(3)
    links[1] = chained(3, "Bench 2")[1]
    assert told(links) == [(2, "it holds the text of an entry of another bench, 'Bench 2'")]


def test_a_chain_that_begins_in_the_middle_is_found() -> None:
    """A first entry that was sealed on another is no first entry."""
    first = resealed(chained(1)[0], prev="a" * 64)
    assert told([first]) == [(1, "it is the first, and was sealed on an entry before it")]


def test_a_chain_made_anew_from_some_entry_on_has_another_head() -> None:
    """A rebuilt chain looks whole, and its head is another: this is what anchors are for."""
    links = chained(4)
    forged = [*links[:2]]
    for seq in (3, 4):
        forged.append(seal(forged[-1].hash, BENCH, seq, AT, {"kind": "checked", "job": "26-0001", "check": "mine"}))
    assert check(forged) == []
    assert forged[-1].hash != links[-1].hash


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (b"", "cannot be read"),
        (b"{", "cannot be read"),
        (b"\xff\xfe", "cannot be read"),
        (b"[" * 100_000, "cannot be read"),
        (b"1" * 10_000, "cannot be read"),
        (b"[]", "is no entry"),
        (b"{}", "is no entry"),
        (b'{"format":true}', "is no entry"),
        (b'{"format":3}', "sealed in format 3, and this program knows formats 1 and 2; use a newer one"),
        (b'{"format":2}', "is not whole"),
        (b'{"format":1}', "is not whole"),
    ],
)
def test_bytes_that_are_no_body_are_told(body: bytes, why: str) -> None:
    """Bytes that are no body are told as what they are, and do not raise anything else."""
    with pytest.raises(BodyFault, match=why):
        read_body(body)
    assert [seq for seq, _ in told([Link(1, body, digest(body))])] == [1]


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (b'"seq":1', b'"seq":1.0', "cannot be read"),
        (b'"seq":1', b'"seq":true', "not whole"),
        (b'"seq":1', b'"seq":NaN', "cannot be read"),
        (b'"seq":1', b'"seq":1,"seq":1', "not canonical"),
        (b'"seq":1', b'"seq": 1', "not canonical"),
        (b'"seq":1', b'"seq":1,"zzz":1', "not whole"),
        (AT.encode(), b"yesterday", "not whole"),
        (b"check 1", b"\\ud800", "cannot be written as canonical JSON"),
        (b"check 1", b"check \\u0031", "not canonical"),
    ],
)
def test_a_body_that_is_not_canonical_is_told_though_its_hash_fits(old: bytes, new: bytes, why: str) -> None:
    """There is one way to write a body, and any other is damage even where the hash was made to fit."""
    body = chained(1)[0].body.replace(old, new)
    assert why in told([Link(1, body, digest(body))])[0][1]
