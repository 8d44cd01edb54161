from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.faults import Fault, Kind, Wire
from simulators.scale import Sent

FRAMES = [Sent(n * 10_000, b"%02d;" % n) for n in range(20)]
ALL = b"".join(raw for _, raw in FRAMES)
LATER_US = 10**9


def carried(*faults: Fault) -> tuple[bytes, Wire]:
    """Give all bytes of the twenty frames after the faults, and the wire."""
    wire = Wire(faults, seed=1)
    return b"".join(raw for _, raw in wire.carry(FRAMES, LATER_US)), wire


def test_wire_without_faults_changes_nothing():
    """What goes into a good wire comes out of it, byte for byte and stamp for stamp."""
    assert Wire().carry(FRAMES, LATER_US) == FRAMES


@pytest.mark.parametrize(
    ("fault", "expected", "count"),
    [
        (Fault("drop", from_us=50_000, until_us=190_000), b"00;01;02;03;04;19;", 14),
        (Fault("drop", every=10), ALL.replace(b"09;", b"").replace(b"19;", b""), 2),
        (Fault("unplug", from_us=10_000), b"00;", 19),
        (Fault("duplicate", every=20), ALL + b"19;", 1),
        (Fault("swap", every=19), ALL.replace(b"18;19;", b"19;18;"), 1),
        (Fault("swap", until_us=40_000), ALL.replace(b"00;01;02;03;", b"01;00;03;02;"), 2),
        (Fault("freeze", from_us=160_000), ALL[:-9] + b"16;16;16;", 4),
        (Fault("replace", from_us=180_000, raw=b"--;"), ALL[:-6] + b"--;--;", 2),
        (Fault("stall", from_us=20_000, until_us=90_000), ALL, 7),
        (Fault("split", every=2, by_us=4_000), ALL, 10),
        (Fault("join", by_us=64_000), ALL, 20),
    ],
)
def test_fault_does_to_the_bytes_what_it_says_and_counts_it(fault: Fault, expected: bytes, count: int):
    """Each fault leaves exactly the bytes it should, and counts the frames it hit."""
    got, wire = carried(fault)
    assert got == expected
    assert wire.counts == {fault.kind: count}


def test_garbled_frame_differs_in_one_bit():
    """A garbled frame has its length and one wrong bit."""
    got, wire = carried(Fault("garble", every=20))
    wrong = int.from_bytes(got) ^ int.from_bytes(ALL)
    assert len(got) == len(ALL)
    assert wrong.bit_count() == 1
    assert wire.counts == {"garble": 1}


def test_stalled_frames_come_all_at_once():
    """What a stall held back arrives in one piece when it is over, and nothing before."""
    wire = Wire([Fault("stall", from_us=20_000, until_us=90_000)])
    assert wire.carry(FRAMES, 80_000)[2:] == []
    assert wire.carry([], 90_000) == [Sent(90_000, b"02;03;04;05;06;07;08;09;")]


def test_split_frame_arrives_in_two_pieces():
    """The first piece of a split frame arrives at once, the rest later; neither is empty."""
    pieces = Wire([Fault("split", by_us=4_000)], seed=1).carry(FRAMES[:1], LATER_US)
    assert [at_us for at_us, _ in pieces] == [0, 4_000]
    assert b"".join(raw for _, raw in pieces) == b"00;"
    assert all(raw for _, raw in pieces)


_KINDS: list[Kind] = ["split", "join", "garble", "drop", "stall", "duplicate", "swap", "freeze", "unplug"]


@given(
    st.lists(
        st.builds(
            lambda kind, from_us, lasts_us, every, by_us: Fault(
                kind, from_us, from_us + lasts_us, every, by_us if kind in {"split", "join"} else 0
            ),
            st.sampled_from(_KINDS),
            st.integers(0, 200_000),
            st.integers(1, 100_000),
            st.integers(1, 5),
            st.integers(1, 50_000),
        ),
        max_size=5,
    ),
    st.lists(st.integers(0, 300_000), max_size=6),
)
def test_faults_compose_and_bytes_never_overtake(faults: list[Fault], looks_us: list[int]):
    """Whatever faults are put behind each other, stamps rise, and looking in between changes no byte and no count."""
    once, often = Wire(faults, seed=2), Wire(faults, seed=2)
    whole = once.carry(FRAMES, LATER_US)
    pieces, sent = [], 0
    for at_us in [*sorted(looks_us), LATER_US]:
        fresh = [frame for frame in FRAMES[sent:] if frame.at_us <= at_us]
        sent += len(fresh)
        pieces += often.carry(fresh, at_us)
    assert pieces == whole
    assert often.counts == once.counts
    assert all(later.at_us > sooner.at_us for sooner, later in pairwise(whole))


def test_wire_knows_when_it_is_unplugged():
    """The cable is out from the beginning of the fault up to its end."""
    wire = Wire([Fault("unplug", from_us=10, until_us=20), Fault("drop")])
    assert [wire.unplugged(at_us) for at_us in (9, 10, 19, 20)] == [False, True, True, False]


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "drop", "from_us": 5, "until_us": 5},
        {"kind": "drop", "every": 0},
        {"kind": "drop", "by_us": 5},
        {"kind": "join"},
        {"kind": "replace"},
        {"kind": "drop", "raw": b"x"},
        {"kind": "stall"},
    ],
)
def test_fault_that_makes_no_sense_is_refused(wrong: dict[str, object]):
    """A fault that lasts no time, hits no frame or carries figures it cannot use is refused."""
    with pytest.raises(ValueError, match="expected"):
        Fault(**wrong)
