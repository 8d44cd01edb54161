from __future__ import annotations

import struct
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.measuring.trace import Trace
from station.records.narrow import narrowed, widened
from station.records.rows import StoredTrace
from tests.station.records.sample_job import HELD, pulled

WHOLE = st.integers(-(2**62), 2**62)
READINGS = st.lists(st.tuples(WHOLE, WHOLE, st.integers(0, 4), st.integers(0, 3)), max_size=40)


def trace_of(readings: list[tuple[int, int, int, int]]) -> Trace:
    """Give readings as a trace, however little sense they make."""
    columns = list(zip(*readings, strict=True)) or [(), (), (), ()]
    kinds = (np.int64, np.int64, np.int8, np.int8)
    return Trace(*(np.array(each, kind) for each, kind in zip(columns, kinds, strict=True)))


@given(READINGS)
def test_every_trace_comes_back_byte_for_byte(readings: list[tuple[int, int, int, int]]) -> None:
    """Whatever its steps, a packed trace comes back just as it was hashed."""
    packed = trace_of(readings).pack()
    assert widened(narrowed(packed)) == packed
    assert StoredTrace.of(packed).unpacked() == packed


@given(st.binary(max_size=80))
def test_other_bytes_stay_as_they_are_and_nonsense_is_refused(raw: bytes) -> None:
    """Bytes that are no packed trace are left alone; ones that pretend to be narrow are refused, or are narrow."""
    assert narrowed(raw) == raw
    for pretended in (raw, b"fbn1" + raw):
        try:
            wide = widened(pretended)
        except ValueError:
            continue
        assert wide == raw or wide[:4] == b"fbt1"


@pytest.mark.parametrize(("step", "width"), [(2**15 - 1, 2), (2**15, 4), (-(2**15), 2), (2**31 - 1, 4), (2**31, 8)])
def test_a_column_is_as_narrow_as_its_longest_step_allows(step: int, width: int) -> None:
    """At the edge of a width the narrow one is taken, and one past it the next."""
    packed = trace_of([(0, 0, 0, 2), (step, step, 0, 2)]).pack()
    _, wide, high, count = struct.unpack_from("<4sBBQ", narrowed(packed))
    assert (wide, high, count) == (width, width, 2)
    assert widened(narrowed(packed)) == packed


def test_a_trace_stored_before_is_read() -> None:
    """A trace that was compressed as it was packed, as the first layout did, unpacks to the same."""
    packed = pulled(1, *HELD).pack()
    blob = zlib.compress(packed, 6)
    old = StoredTrace(StoredTrace.of(packed).hash, blob, StoredTrace.of(blob).hash)
    assert (old.unpacked(), old.what_is_wrong()) == (packed, None)


def test_a_hold_with_jittering_stamps_is_stored_in_three_quarters_of_the_room() -> None:
    """Thirty seconds at eighty readings a second, each stamp up to 0.3 ms off, take less than 7 kB."""
    trace = pulled(1, *HELD)
    late_us = np.random.default_rng(1).integers(-300, 301, len(trace))
    packed = Trace(trace.at_us + late_us, trace.tension_mn, trace.status, trace.unit).pack()
    blob = StoredTrace.of(packed).blob
    assert len(blob) < 7_000
    assert len(blob) < 0.75 * len(zlib.compress(packed, 6))
