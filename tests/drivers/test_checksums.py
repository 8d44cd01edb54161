"""Checksums over many pieces at once."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.checksums import CHECKSUMS, crc16_modbus, of_each, sum8, xor8


@given(st.lists(st.binary(max_size=12), max_size=3), st.integers(0, 30), st.sampled_from(sorted(CHECKSUMS)))
def test_many_at_once_have_the_checks_of_each(pieces: list[bytes], times: int, name: str) -> None:
    """However many pieces are checked at once, and however long each is, each has its own check."""
    assert of_each(name, pieces * times) == [CHECKSUMS[name][1](piece) for piece in pieces] * times


@pytest.mark.parametrize(("compute", "check"), [(xor8, 0x31), (sum8, 0xDD), (crc16_modbus, 0x4B37)])
def test_check_values(compute: object, check: int) -> None:
    """The nine digits have the check values of the catalogues (from memory); those of one byte are reckoned by hand."""
    assert CHECKSUMS[{xor8: "xor8", sum8: "sum8", crc16_modbus: "crc16-modbus"}[compute]][1](b"123456789") == check  # type: ignore[index]
