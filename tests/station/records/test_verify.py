from __future__ import annotations

import dataclasses
import json
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest

from station.measuring.hold import typed_uncertainty
from station.measuring.trace import Trace
from station.records.chain import FIRST_PREV, digest, seal
from station.records.entries import Checked, Entry, HoldCompleted, SignedOff, body_of
from station.records.rows import Row, StoredTrace
from station.records.verify import AnchorFault, Verification, read_anchor, verify
from station.settings.hold import HoldSpecification
from tests.station.records.sample_job import hold, pulled

BENCH = "Bench 1"
JOB = "26-0001"
SHORT = HoldSpecification(
    name="short", target_mn=130_000, low_mn=125_000, high_mn=200_000, ceiling_mn=260_000, duration_us=100_000
)
Tables = tuple[list[Row], dict[str, StoredTrace]]


def sealed(*told: tuple[Entry, tuple[Trace, ...]], bench: str = BENCH) -> Tables:
    """Give the tables of an archive in which these entries, with their traces, were filed."""
    rows: list[Row] = []
    traces: dict[str, StoredTrace] = {}
    for seq, (entry, come_with) in enumerate(told, 1):
        facts = body_of(entry)
        at = f"2026-03-04T05:06:{seq:02d}.000000Z"
        link = seal(rows[-1].hash if rows else FIRST_PREV, bench, seq, at, facts)
        rows.append(Row(bench, seq, entry.job, facts["kind"], link.hash, link.body))
        traces |= {stored.hash: stored for stored in (StoredTrace.of(each.pack()) for each in come_with)}
    return rows, traces


@cache
def filed() -> Tables:
    """Give a small archive: a check, a hold that is held, a hold that is not, a hold never judged, a signature."""
    held, lost, stopped = pulled(1, (0.2, 30, 31)), pulled(2, (0.2, 22, 22.5)), pulled(3, (0.1, 30, 30))
    waiting = HoldCompleted(
        job=JOB, pieces=("13",), trace=digest(stopped.pack()), specification=SHORT.facts(), uncertainty=None
    )
    return sealed(
        (Checked(job=JOB, step="checks", check="no twist"), ()),
        (hold(("12",), held, "A: pre-stretch", typed_uncertainty(900), SHORT), (held,)),
        (hold(("12",), lost, "A: pre-stretch", None, SHORT), (lost,)),
        (waiting, (stopped,)),
        (SignedOff(job=JOB, by="Ansa Velling", certificate="GG-118", statement="done"), ()),
    )


def found(tables: Tables, anchor: str | None = None) -> Verification:
    """Verify tables."""
    return verify(*tables, anchor)


def told(tables: Tables, anchor: str | None = None) -> list[tuple[int | None, str]]:
    """Give the damage found in tables."""
    return [(damage.seq, damage.what) for damage in found(tables, anchor).damaged]


def with_row(n: int, **columns: Any) -> Tables:
    """Give the small archive with columns of its n-th row altered, in the order that an archive would give it."""
    rows, traces = filed()
    rows = [*rows[:n], dataclasses.replace(rows[n], **columns), *rows[n + 1 :]]
    return sorted(rows, key=lambda row: (row.bench.encode("utf-8", "surrogateescape"), row.seq)), traces


def with_trace(n: int, **columns: Any) -> Tables:
    """Give the small archive with columns of its n-th trace altered."""
    rows, traces = filed()
    name = list(traces)[n]
    altered = dataclasses.replace(traces[name], **columns)
    return rows, {
        altered.hash if key == name else key: altered if key == name else each for key, each in traces.items()
    }


BITS = (0x01, 0x20, 0x80)  # the lowest, the one of upper and lower case, the highest


def flips(old: bytes, once: bool = False) -> Iterator[bytes]:
    """Give the bytes with each of them altered in turn, by each of the bits, or only `once` by one of them."""
    for place in range(len(old)):
        for bit in BITS[place % 3 :][:1] if once else BITS:
            new = bytearray(old)
            new[place] ^= bit
            yield bytes(new)


def test_a_whole_archive_is_good() -> None:
    """Nothing is damaged, no verdict changed, and the head is the last entry's hash."""
    whole = found(filed())
    assert whole.good
    assert (whole.entries, whole.holds, whole.damaged, whole.verdicts_changed) == (5, 2, (), ())
    assert whole.head == filed()[0][-1].hash
    assert whole.anchored_to is None


def test_an_empty_archive_is_good_and_has_no_head() -> None:
    """Where nothing was filed, nothing is damaged."""
    empty = found(([], {}))
    assert (empty.good, empty.entries, empty.head) == (True, 0, None)


@pytest.mark.parametrize("column", ["bench", "job", "kind", "hash"])
def test_every_altered_byte_of_every_text_column_is_found_and_named(column: str) -> None:
    """One byte of a column altered, in any entry: that entry is named."""
    for n, row in enumerate(filed()[0]):
        for new in flips(getattr(row, column).encode()):
            damaged = told(with_row(n, **{column: new.decode("utf-8", "surrogateescape")}))
            assert row.seq in [seq for seq, _ in damaged], (row.seq, new)


def test_every_altered_byte_of_every_body_is_found_and_named() -> None:
    """One byte of a sealed text altered, in any entry: that entry is named, and no other."""
    for n, row in enumerate(filed()[0]):
        for new in flips(row.body, once=True):
            assert [seq for seq, _ in told(with_row(n, body=new))] == [row.seq], new


def test_every_altered_byte_of_every_number_is_found_and_named() -> None:
    """One bit of an entry's number altered, any of sixty-four: the number that is now missing is named."""
    for n, row in enumerate(filed()[0]):
        for bit in range(64):
            seq = row.seq ^ (1 << bit)
            seq -= 1 << 64 if seq >= 1 << 63 else 0
            taken = [each.seq for each in filed()[0]]
            if seq not in taken:  # the table has one row of a number
                damaged = told(with_row(n, seq=seq))
                assert {row.seq, seq} & {number for number, _ in damaged}, (row.seq, seq)
                last = row.seq == len(taken)
                assert last or row.seq in [number for number, _ in damaged]


@pytest.mark.parametrize("column", ["hash", "blob_hash"])
def test_every_altered_byte_of_every_trace_hash_is_found_at_its_hold(column: str) -> None:
    """One byte of a trace's hash altered: the hold that names it is named, and no other."""
    for n, (name, stored) in enumerate(filed()[1].items()):
        for new in flips(getattr(stored, column).encode()):
            damaged = told(with_trace(n, **{column: new.decode("utf-8", "surrogateescape")}))
            assert [seq for seq, _ in damaged] == [n + 2], (name, new)


def test_a_trace_under_an_altered_hash_is_known_by_its_readings() -> None:
    """A trace under another hash than its own is not called missing, nor taken for one that was put in."""
    (name, *_), stray = filed()[1], "0" * 64
    whole = found(with_trace(0, hash=stray))
    assert [each.what for each in whole.damaged] == [f"its trace, {name[:12]}..., stands under a hash that was altered"]
    assert whole.remarks == ()


def test_every_altered_byte_of_every_trace_is_found_at_its_hold() -> None:
    """One byte of a stored trace altered, also one that unpacks to the same: the hold that names it is named."""
    for n, stored in enumerate(filed()[1].values()):
        for new in flips(stored.blob):
            assert [seq for seq, _ in told(with_trace(n, blob=new))] == [n + 2]


def test_some_altered_bytes_unpack_to_the_same_readings() -> None:
    """Compression has bits that mean nothing; the hash of the stored bytes is what finds those."""
    stored = next(iter(filed()[1].values()))
    same = 0
    for bit in range(8 * len(stored.blob)):
        blob = bytearray(stored.blob)
        blob[bit // 8] ^= 1 << bit % 8
        altered = dataclasses.replace(stored, blob=bytes(blob))
        try:
            same += digest(altered.unpacked()) == stored.hash
        except ValueError:
            continue
        assert altered.what_is_wrong() is not None
    assert same > 0


@pytest.mark.parametrize("cut", [0, 1, 10, -4, -1])
def test_a_cut_or_lengthened_trace_is_found(cut: int) -> None:
    """A stored trace cut short, or with bytes after it, is told."""
    stored = next(iter(filed()[1].values()))
    for blob in (stored.blob[:cut], stored.blob + b"\0", stored.blob + stored.blob):
        damaged = told(with_trace(0, blob=blob))
        assert damaged == [(2, "its trace is damaged: its stored bytes were altered and cannot be unpacked")]


def test_each_dropped_entry_is_found() -> None:
    """An entry taken out is missing by its number; of the last, its trace tells where it had one."""
    rows, traces = filed()
    for n in range(4):
        assert told(([*rows[:n], *rows[n + 1 :]], traces))[0] == (n + 1, "it is missing")
    cut = found((rows[:2], traces))
    assert [damage.seq for damage in cut.damaged] == [None, None]
    assert all("is named by no entry" in damage.what for damage in cut.damaged)


def test_each_two_exchanged_entries_are_found() -> None:
    """Two entries that changed places are both named."""
    rows, traces = filed()
    for n in range(5):
        for m in range(n + 1, 5):
            swapped = list(rows)
            for to, of in ((n, m), (m, n)):
                swapped[to] = dataclasses.replace(rows[of], seq=rows[to].seq)
            assert [seq for seq, _ in told((swapped, traces))] == [n + 1, m + 1]


def test_each_doubled_entry_is_found() -> None:
    """An entry filed once more under the next number is found."""
    rows, traces = filed()
    for row in rows:
        again = dataclasses.replace(row, seq=6)
        assert told(([*rows, again], traces)) == [(6, f"it holds the text of entry {row.seq}")]


def test_a_trace_exchanged_between_two_holds_is_found_at_both() -> None:
    """The good pull's readings put under the bad pull's name, and the other way round, are found at both holds."""
    rows, traces = filed()
    (one, first), (two, second), *rest = traces.items()
    exchanged = {
        one: StoredTrace(one, second.blob, second.blob_hash),
        two: StoredTrace(two, first.blob, first.blob_hash),
        **dict(rest),
    }
    what = "its trace is damaged: its readings are not the ones that were recorded"
    assert told((rows, exchanged)) == [(2, what), (3, what)]


def test_a_missing_trace_is_found_at_its_entry() -> None:
    """A trace taken out is missed at the entry that names it, be it a judged hold or one never judged."""
    rows, traces = filed()
    for n, name in enumerate(traces):
        left = {key: each for key, each in traces.items() if key != name}
        assert told((rows, left)) == [(n + 2, f"its trace, {name[:12]}..., is missing")]


def test_a_superfluous_trace_is_found() -> None:
    """A trace that no entry names was put in, or its entry was taken out."""
    rows, traces = filed()
    stray = StoredTrace.of(pulled(9, (0.1, 30, 30)).pack())
    ((seq, what),) = told((rows, traces | {stray.hash: stray}))
    assert seq is None
    assert what.endswith("is named by no entry: an entry was taken out, or the trace was put in")


def test_a_trace_of_a_dropped_hold_is_a_remark_beside_it() -> None:
    """Where an entry is missing, a trace that nobody names is no second damage."""
    rows, traces = filed()
    dropped = found(([rows[0], *rows[2:]], traces))
    assert [(damage.seq, damage.what) for damage in dropped.damaged] == [(2, "it is missing")]
    assert "may be of one that is damaged or missing" in dropped.remarks[0]


def forged(n: int, alter: Callable[[dict[str, Any]], None]) -> Tables:
    """Give the archive of somebody who altered entry n and made every seal after it anew."""
    rows, traces = filed()
    anew: list[Row] = []
    for row in rows:
        content = json.loads(row.body)
        if row.seq == n:
            alter(content["entry"])
        link = seal(anew[-1].hash if anew else FIRST_PREV, BENCH, row.seq, content["at"], content["entry"])
        anew.append(dataclasses.replace(row, hash=link.hash, body=link.body))
    return anew, traces


def test_a_forged_verdict_does_not_follow_from_its_trace() -> None:
    """A verdict altered by somebody who rebuilt the whole chain is still contradicted by the stored readings."""
    whole = found(forged(3, lambda entry: entry["judgement"].update(verdict="held", reasons=[])))
    assert whole.damaged == ()
    (changed,) = whole.verdicts_changed
    assert (changed.seq, changed.recorded, changed.recomputed) == (3, "held", "not-held")
    assert changed.what == "recorded as held; its trace judges as not held: the pull never came into the band"
    assert not whole.good


@pytest.mark.parametrize(
    ("key", "by"), [("held_us", 1), ("min_mn", -1), ("peak_mn", 1), ("largest_gap_us", -1), ("conformance_ppb", 2)]
)
def test_a_forged_figure_does_not_follow_from_its_trace(key: str, by: int) -> None:
    """A figure altered by one step, in a chain made anew, is contradicted by the stored readings."""
    whole = found(forged(2, lambda entry: entry["judgement"].update({key: entry["judgement"][key] + by})))
    (changed,) = whole.verdicts_changed
    assert (changed.seq, changed.recomputed) == (2, "held")
    assert f"{key} was recorded as" in changed.what


def test_a_probability_may_differ_by_the_last_place_of_another_machine() -> None:
    """Two machines' arithmetic may differ by one part in a thousand million, and that is no changed verdict."""

    def nudge(entry: dict[str, Any]) -> None:
        entry["judgement"]["conformance_ppb"] -= 1

    assert found(forged(2, nudge)).good


def test_a_forged_specification_does_not_give_the_verdict() -> None:
    """Whoever widens the limits afterwards gets another judgement than the one recorded."""
    whole = found(forged(3, lambda entry: entry["specification"].update(low_mn=90_000, target_mn=100_000)))
    assert [changed.recomputed for changed in whole.verdicts_changed] == ["unproven"]


@pytest.mark.parametrize(
    ("alter", "what"),
    [
        (lambda entry: entry.update(rule_version=99), "it was judged by rule 99, and this program knows rule 1"),
        (lambda entry: entry["specification"].pop("low_mn"), "it cannot be judged again"),
        (lambda entry: entry["specification"].update(low_mn=10**9), "it cannot be judged again"),
        (lambda entry: entry["specification"].update(low_mn="low"), "it cannot be judged again"),
        (lambda entry: entry.update(specification=None), "it cannot be judged again"),
        (lambda entry: entry.update(uncertainty={"none": 1}), "it cannot be judged again"),
        (lambda entry: entry.update(judgement=None), "it cannot be judged again"),
        (lambda entry: entry.update(surprise=1), "it cannot be read: found 'surprise'"),
        (lambda entry: entry.update(kind="feast-held"), "found an entry of kind 'feast-held'"),
        (lambda entry: entry.pop("scale"), "is not whole"),
    ],
)
def test_an_entry_that_makes_no_sense_is_told_and_nothing_breaks(
    alter: Callable[[dict[str, Any]], Any], what: str
) -> None:
    """An entry that is sealed well and says nonsense is told in words; the rest is verified all the same."""
    whole = found(forged(2, alter))
    assert [damage.seq for damage in whole.damaged if damage.seq is not None] == [2]
    assert any(what in damage.what for damage in whole.damaged)
    assert whole.entries == 5


def test_a_hold_says_which_rule_judged_it_and_that_one_judges_it_again() -> None:
    """Holds are judged by rule 1, as their entries say; what the rule gives may only change with that number."""
    facts = [json.loads(row.body)["entry"] for row in filed()[0] if row.kind == "hold-judged"]
    assert {each["rule_version"] for each in facts} == {1}
    assert found(forged(2, lambda entry: entry.update(rule_version=1))).good


def test_all_that_is_said_of_one_entry_stands_in_one_piece_of_damage() -> None:
    """Two entries with two troubles each are two pieces of damage, each under its own number."""
    rows, traces = filed()
    altered = [dataclasses.replace(row, job="26-0009") if row.seq in (2, 3) else row for row in rows]
    damaged = told((altered, dict(list(traces.items())[2:])))
    assert [seq for seq, _ in damaged] == [2, 3]
    for (_, what), name in zip(damaged, traces, strict=False):
        assert what.startswith("its job column reads '26-0009'")
        assert what.endswith(f"; its trace, {name[:12]}..., is missing")


def test_a_text_that_is_not_whole_withholds_no_name() -> None:
    """Of an altered entry it is said that it was altered, and nothing of the names beside it."""
    whole = found(with_row(4, body=filed()[0][4].body.replace(b"done", b"gone")))
    assert [damage.seq for damage in whole.damaged] == [5]
    assert not any("withheld" in remark for remark in whole.remarks)


def test_a_trace_of_another_layout_is_told() -> None:
    """Stored bytes that hash well and are no trace are told."""
    rows, traces = filed()
    odd = StoredTrace.of(b"fbt9 and so on")
    altered, _ = forged(2, lambda entry: entry.update(trace=odd.hash))
    names = list(traces)
    damaged = told((altered, {odd.hash: odd} | {name: traces[name] for name in names[1:]}))
    assert damaged[0][0] == 2
    assert "its trace cannot be read" in damaged[0][1]
    assert len(rows) == 5


def test_an_anchor_says_up_to_where_it_vouches() -> None:
    """The hash of any entry is an anchor, and vouches up to that entry."""
    for row in filed()[0]:
        assert found(filed(), row.hash).anchored_to == row.seq


def test_an_anchor_finds_a_cut_tail() -> None:
    """An anchor whose entry was cut off is of no entry, and that is damage."""
    rows, _ = sealed(*((Checked(job=JOB, check=f"check {n}"), ()) for n in range(5)))
    cut = found((rows[:3], {}), rows[-1].hash)
    assert cut.anchored_to is None
    assert not cut.good
    assert "is of no entry here" in cut.damaged[0].what
    assert found((rows[:3], {})).good


def test_an_anchor_finds_a_chain_made_anew() -> None:
    """An anchor taken before the chain was rebuilt is of no entry in it."""
    tables = forged(1, lambda entry: entry.update(check="what suits me"))
    assert found(tables).good
    assert not found(tables, filed()[0][-1].hash).good


def test_an_anchor_of_an_altered_entry_vouches_for_nothing() -> None:
    """Where the anchored entry itself was altered, its recorded hash alone does not satisfy the anchor."""
    rows, _ = filed()
    altered = with_row(4, body=rows[4].body.replace(b"done", b"gone"))
    whole = found(altered, rows[4].hash)
    assert whole.anchored_to is None
    assert any("is of an entry that is no longer what it was" in damage.what for damage in whole.damaged)


@pytest.mark.parametrize("text", ["", "abc", "g" * 64, "0" * 63, "0" * 65, "0" * 64 + " x"])
def test_what_is_no_anchor_is_refused(text: str) -> None:
    """Anything but sixty-four hexadecimal digits is refused, saying what an anchor is."""
    with pytest.raises(AnchorFault, match="expected an anchor: sixty-four"):
        read_anchor(text)


def test_several_benches_are_verified_side_by_side() -> None:
    """Each bench has its own chain; damage says whose it is, and an anchor of either is found."""
    one, _ = sealed((Checked(job=JOB, check="a"), ()), (Checked(job=JOB, check="b"), ()))
    two, _ = sealed((Checked(job=JOB, check="a"), ()), (Checked(job=JOB, check="b"), ()), bench="Bench 2")
    whole = found(([*one, *two], {}), two[1].hash)
    assert (whole.good, whole.head, whole.anchored_to) == (True, None, 2)
    assert whole.heads == {BENCH: one[1].hash, "Bench 2": two[1].hash}
    crossed = [one[0], dataclasses.replace(two[1], bench=BENCH), two[0], dataclasses.replace(one[1], bench="Bench 2")]
    assert [(damage.bench, damage.seq) for damage in found((crossed, {})).damaged] == [(BENCH, 2), ("Bench 2", 2)]


def test_a_clock_set_back_within_a_job_is_said_and_damages_nothing() -> None:
    """An entry with an earlier time than the one before it in its job is named in a remark; another job's is not."""
    rows: list[Row] = []
    for seq, (job, second) in enumerate(((JOB, 9), (JOB, 3), (JOB, 3), ("26-0002", 1)), 1):
        facts = body_of(Checked(job=job, check="no twist"))
        at = f"2026-03-04T05:06:{second:02d}.000000Z"
        link = seal(rows[-1].hash if rows else FIRST_PREV, BENCH, seq, at, facts)
        rows.append(Row(BENCH, seq, job, facts["kind"], link.hash, link.body))
    whole = verify(rows, {})
    assert whole.good
    assert whole.remarks == (
        "entry 2 bears the time 2026-03-04 05:06:03 UTC, earlier than entry 1, 2026-03-04 05:06:09 UTC: the "
        "computer's clock was set back; the numbers tell the order",
    )


def test_what_is_wrong_with_the_file_is_damage_too() -> None:
    """Trouble with the file itself is damage; a remark is none."""
    rows, traces = filed()
    assert not verify(rows, traces, unsound=["the file is damaged: row 3 missing from an index"]).good
    remarked = verify(rows, traces, remarks=["a guard was taken away"])
    assert remarked.good
    assert remarked.answer()["remarks"] == ["a guard was taken away"]


def test_the_answer_has_the_keys_that_programs_rely_on() -> None:
    """The answer is plain JSON with the keys that were promised."""
    answer = json.loads(json.dumps(found(forged(3, lambda entry: entry["judgement"].update(verdict="held"))).answer()))
    promised = {"entries", "holds", "damaged", "verdicts_changed", "head", "anchored_to"}
    assert promised <= set(answer)
    assert answer["verdicts_changed"][0]["seq"] == 3
