from __future__ import annotations

from pathlib import Path

import pytest

from drivers.text_frames import FormatFault, TextDecoder, TextFormat
from station.settings.reline import read_reline, reline_text
from station.settings.station import load_station
from station.settings.tables import SettingsFault, Table

STATION = """
[station]
name = "Bench 1"
[scale]
url = "/dev/one"
format = "text"
frame = "{value} {unit}"
end = "\\r\\n"
capacity = "100 lbf"
"""
SECOND = """
[second_scale]
url = "/dev/two"
format = "text"
frame = "{value} {unit}"
end = "\\r\\n"
capacity = "50 lbf"
"""
GAUGE = """
[gauge]
url = "/dev/three"
format = "text"
frame = "{value} {unit}"
end = "\\r\\n"
units = { inch = "in" }
rising = "short"
"""


def station(tmp_path: Path, text: str):
    """Write a station file and read it."""
    file = tmp_path / "station.toml"
    file.write_text(text)
    return load_station(file)


def test_a_station_has_neither_second_scale_nor_gauge_unless_it_says_so(tmp_path: Path) -> None:
    """A file without the two tables reads as before."""
    found = station(tmp_path, STATION)
    assert (found.second_scale, found.gauge) == (None, None)


def test_a_second_scale_and_a_gauge_are_declared_like_a_scale(tmp_path: Path) -> None:
    """Both take the scale's own keys; a gauge reads lengths, and says which way it rises."""
    found = station(tmp_path, STATION + SECOND + GAUGE)
    assert found.second_scale is not None
    assert found.second_scale.link.url == "/dev/two"
    assert found.gauge is not None
    assert found.gauge.rising_is_long is False
    frames = TextDecoder(found.gauge.format).feed(b"0.125 inch\r\n1.5 mm\r\n")
    assert [(each.force, each.unit) for each in frames] == [(0.125, "in"), (1.5, "mm")]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (SECOND.replace("/dev/two", "/dev/one"), r"\[second_scale\] url: found '/dev/one', which another instrument"),
        (SECOND.replace('capacity = "50 lbf"', ""), r"\[second_scale\] capacity"),
        (GAUGE.replace('"in"', '"lbf"'), "mm, cm, in"),
        (GAUGE.replace('rising = "short"', 'rising = "up"'), "long, short"),
        (GAUGE + "colour = 3\n", "unknown key 'colour'"),
        (GAUGE.replace('format = "text"', 'format = "scpi"'), "expected one of text"),
    ],
)
def test_what_cannot_be_is_refused_by_name(tmp_path: Path, text: str, said: str) -> None:
    """A shared port, a missing figure, a force where a length is meant, a key nobody knows: each is named."""
    with pytest.raises(SettingsFault, match=said):
        station(tmp_path, STATION + text)


def test_a_format_of_lengths_knows_no_force_and_the_other_way_round() -> None:
    """Pounds in a gauge's format, and inches in a scale's, are refused by the format itself."""
    with pytest.raises(FormatFault, match="unit: found 'lbf', expected one of mm, cm, in"):
        TextFormat("{value}", unit="lbf", measures="length")
    with pytest.raises(FormatFault, match="unit: found 'mm', expected one of N, lbf, kgf"):
        TextFormat("{value}", unit="mm")
    noise = TextDecoder(TextFormat("{value} {unit}", measures="length")).feed(b"3.0 lbf\r\n")
    assert not hasattr(noise[0], "force")


SET = """
[reline]
name = "s"
[[lines]]
plan = "one-cascade.toml"
group = "A"
numbers = [1, 2]
sides = ["left"]
"""


def reline(tmp_path: Path, text: str):
    """Read a set job beside the ready-made plans."""
    for plan in ("one-cascade.toml", "one-main.toml"):
        (tmp_path / plan).write_text(Path("config/jobs", plan).read_text(encoding="utf-8"), encoding="utf-8")
    file = tmp_path / "set.toml"
    file.write_text(text)
    return read_reline(Table.load(file))


def test_lines_are_named_by_group_number_and_side(tmp_path: Path) -> None:
    """The main line has its group's name, the cascade its own from the plan, and joints follow."""
    found = reline(tmp_path, SET)
    assert [each.name for each in found.lines] == ["A 1 left", "A 2 left"]
    plan = found.plan_of(found.lines[1])
    assert [each.name for each in plan.lines] == ["A 2 left", "B 2 left"]
    assert plan.lines[1].link_end.joins == "A 2 left"  # type: ignore[union-attr]
    assert (found.comparing, found.together) == ("in turn", 1)


def test_the_text_kept_with_a_job_needs_no_other_file(tmp_path: Path) -> None:
    """Read again elsewhere, the text with its plans written in says the same."""
    reline(tmp_path, SET)
    text = reline_text(tmp_path / "set.toml")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "set.toml").write_text(text)
    again = read_reline(Table.load(elsewhere / "set.toml"))
    first = reline(tmp_path, SET)
    assert again.lines == first.lines
    assert [p.lines for p in again.plans.values()] == [p.lines for p in first.plans.values()]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('name = "s"', 'name = "s"\ncomparing = "both on one hook"'), "both lines on one hook share the pull"),
        (('name = "s"', 'name = "s"\npieces_together = 0'), "from 1 to 24"),
        (("numbers = [1, 2]", "numbers = []"), "expected the lines' numbers"),
        (("numbers = [1, 2]", "numbers = [1, 1]"), "two lines of the set are called 'A 1 left'"),
        (('sides = ["left"]', 'sides = ["top"]'), "left"),
        (("one-cascade.toml", "nowhere.toml"), "nowhere.toml: cannot be read"),
        (("one-cascade.toml", "no\\u0000where.toml"), "cannot be read: no file can have that name"),
        (('group = "A"', 'group = "A"\nwidth = 3'), "unknown key 'width'"),
    ],
)
def test_mistakes_in_a_set_are_named(tmp_path: Path, change: tuple[str, str], said: str) -> None:
    """What is wrong in a set job is said with the file, what was found and what was expected."""
    with pytest.raises(SettingsFault, match=said):
        reline(tmp_path, SET.replace(*change))
