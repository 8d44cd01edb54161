from __future__ import annotations

import hashlib
import json
import re
import struct
from pathlib import Path

import click
import pytest

from station.cli.records import records
from station.measuring.trace import STATUSES, UNITS, Trace
from station.records.archive import Archive
from tests.station.records.sample_job import HELD, JOB, file_job, pulled

PAGE = (Path(__file__).parent.parent / "docs" / "records.md").read_text(encoding="utf-8")
COMMANDS = sorted(set(re.findall(r"(?:fidbench |`)records ([a-z]+)([^`\n>]*)", PAGE)))


@pytest.mark.parametrize(("command", "words"), COMMANDS)
def test_every_command_on_the_page_can_be_given(command: str, words: str) -> None:
    """Each command is there, and has the options that the page gives it."""
    found = records.commands[command]
    known = {name for param in found.params if isinstance(param, click.Option) for name in param.opts}
    assert set(re.findall(r"--[a-z-]+", words)) <= known


def test_the_text_that_is_hashed_has_just_the_keys_of_the_page(tmp_path: Path) -> None:
    """An entry without a signature has every key of the page's table but the last, and the hashes are as it says."""
    keys = re.findall(r"^\| `([a-z]+)` \|", PAGE, re.MULTILINE)
    with Archive.open(file_job(tmp_path / "archive.sqlite")) as archive:
        row = next(archive.entries(JOB))
    content = json.loads(row.body)
    assert [*sorted(content), "key"] == [*sorted(keys[:-1]), keys[-1]]
    assert hashlib.sha256(row.body).hexdigest() == row.hash
    salt, name = json.loads(row.names)["people.worker"]
    assert (len(salt), name) == (32, "Ansa Velling")
    assert content["entry"]["people"]["worker"] == {"salted": hashlib.sha256((salt + name).encode()).hexdigest()}


def test_packed_readings_are_laid_out_as_the_page_says() -> None:
    """Read by the page alone, packed bytes give the stamps, tensions, statuses and units that were packed."""
    trace = pulled(1, *HELD)
    packed = trace.pack()
    assert packed[:4] == b"fbt1"
    (count,) = struct.unpack("<Q", packed[4:12])
    steps = struct.unpack(f"<{2 * count}q", packed[12 : 12 + 16 * count])
    assert sum(steps[:count]) == trace.at_us[-1]
    assert sum(steps[count:]) == trace.tension_mn[-1]
    assert packed[12 + 16 * count :] == trace.status.tobytes() + trace.unit.tobytes()
    for words, names in (("status", STATUSES), ("of unit", UNITS)):
        told = re.search(rf"{words} \(([^)]*)\)", " ".join(PAGE.split()))
        assert told is not None
        assert told[1] == ", ".join(f"{code} {name or 'none'}" for code, name in enumerate(names))
    assert Trace.unpack(packed) == trace
