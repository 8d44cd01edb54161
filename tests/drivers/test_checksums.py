"""Checksums over many pieces at once."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.checksums import CHECKSUMS, all_right, crc16_modbus, of_each, sum8, written, xor8


@given(st.lists(st.binary(max_size=12), min_size=1), st.integers(1, 30), st.sampled_from(sorted(CHECKSUMS)))
def test_many_at_once_have_the_checks_of_each(pieces: list[bytes], times: int, name: str) -> None:
    """However many pieces are checked at once, and however long each is, each has its own check."""
    assert of_each(name, pieces * times).tolist() == [CHECKSUMS[name][1](piece) for piece in pieces] * times


@given(
    st.lists(st.binary(max_size=300), min_size=1, max_size=30),
    st.sampled_from(sorted(CHECKSUMS)),
    st.sampled_from(["hex", "bytes"]),
    st.booleans(),
    st.data(),
)
def test_one_wrong_check_among_many_is_seen(
    pieces: list[bytes], name: str, form: str, small: bool, data: st.DataObject
) -> None:
    """Checks are all right as they are written, in either case, and no more once one bit of one is another."""
    width, compute = CHECKSUMS[name]
    sent = [written(name, compute(piece), form) for piece in pieces]
    if form == "hex" and small:
        sent = [each.lower() for each in sent]
    assert all_right(name, form, pieces, sent)
    which, bit = data.draw(st.integers(0, len(pieces) - 1)), data.draw(st.integers(0, 8 * width - 1))
    sent[which] = written(name, compute(pieces[which]) ^ 1 << bit, form)
    assert not all_right(name, form, pieces, sent)


@pytest.mark.parametrize(("compute", "check"), [(xor8, 0x31), (sum8, 0xDD), (crc16_modbus, 0x4B37)])
def test_check_values(compute: object, check: int) -> None:
    """The nine digits have the check values of the catalogues (from memory); those of one byte are reckoned by hand."""
    assert CHECKSUMS[{xor8: "xor8", sum8: "sum8", crc16_modbus: "crc16-modbus"}[compute]][1](b"123456789") == check  # type: ignore[index]
