from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.settings import shop
from station.settings.hold import load_hold
from station.settings.preferences import Preferences, load_preferences
from station.settings.tables import SettingsFault
from station.settings.writing import edited, keep, plain_number, values_of

HOLD = """# ours, by A. Person
[hold]
target = "30 lbf"  # as the manual says
low = "28 lbf"
high = "45 lbf"
duration = "30 s"
ceiling = "60 lbf"
source = "a manual"
"""
KEYS = st.text("abcdefgh_", min_size=1, max_size=8)


@given(st.dictionaries(KEYS, st.one_of(st.text(max_size=30), st.integers(0, 10**9))), st.text(max_size=30))
def test_whatever_is_typed_is_what_the_file_says(answers: dict[str, str | int], other: str) -> None:
    """Every text and number, with quotes, breaks and signs of any script in it, is read back as it was typed."""
    before = edited("# ours\n[there]\n", {"there.kept": other})
    text = edited(before, {f"table.{key}": value for key, value in answers.items()})
    read = tomllib.loads(text)
    assert read.get("table", {}) == answers
    assert read["there"] == {"kept": other}
    assert text.startswith("# ours\n")


@given(st.integers(0, 3), st.integers(1, 3), st.sampled_from(["name", "end.trap", "loops.0.at", "loops.1.at"]))
def test_tables_in_a_list_are_named_by_number(number: int, count: int, key: str) -> None:
    """One of [[line]] is changed or put after the last, at any depth; emptied, it goes and the others close up."""
    before = "# ours\n" + "".join(
        f'[[line]]\nname = "{n}"\nloops = [{{ at = "{n} in" }}]  # by hand\n' for n in range(count)
    )
    number = min(number, count)
    if key == "loops.1.at" and number == count:
        key = "loops.0.at"
    changed = edited(before, {f"line.{number}.{key}": "new"})
    assert tomllib.loads(changed)
    assert values_of(changed) == values_of(before) | {f"line.{number}.{key}": "new"}
    assert changed.count("# by hand") == count
    keys = [each for each in values_of(changed) if each.startswith("line.0.")]
    gone = values_of(edited(changed, dict.fromkeys(keys, None)))
    assert len([each for each in gone if each.endswith(".name")]) == (
        len([each for each in values_of(changed) if each.endswith(".name")]) - ("line.0.name" in keys)
    )
    assert gone.get("line.0.name") == values_of(changed).get("line.1.name")


def test_a_comment_stays_where_a_person_wrote_it(tmp_path: Path) -> None:
    """A figure is put in the place of another, and nothing else of the file is touched."""
    path = tmp_path / "ours.toml"
    path.write_text(HOLD)
    kept = keep(path, edited(HOLD, {"hold.target": "32 lbf"}), load_hold)
    assert path.read_text() == HOLD.replace('"30 lbf"', '"32 lbf"')
    assert (kept.name, kept.target_mn) == ("ours", 142_343)


def test_what_is_refused_leaves_the_old_file(tmp_path: Path) -> None:
    """The fault names the file and the key, the old file stands as it stood, and nothing else lies beside it."""
    path = tmp_path / "ours.toml"
    path.write_text(HOLD)
    with pytest.raises(SettingsFault, match=r"low, 50 lbf,") as refused:
        keep(path, edited(HOLD, {"hold.low": "50 lbf"}), load_hold)
    assert str(refused.value).startswith(f"{path}: [hold] low")
    assert refused.value.key == "hold.low"
    assert path.read_text() == HOLD
    assert [each.name for each in tmp_path.iterdir()] == ["ours.toml"]


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    """Where the folder's place is taken by a file, that is said, and what to do."""
    (tmp_path / "taken").write_text("")
    with pytest.raises(SettingsFault, match=r"cannot be written.*name another folder"):
        keep(tmp_path / "taken" / "ours.toml", HOLD, load_hold)


def test_an_empty_table_goes_with_its_last_key() -> None:
    """A figure whose answers are all taken out leaves no table without keys."""
    text = '[material.stiffness]\nvalue = "1 lbf"\nassumed = "so"\n[material]\nname = "x"\n'
    left = edited(text, {"material.stiffness.value": None, "material.stiffness.assumed": None, "none.there": None})
    assert tomllib.loads(left) == {"material": {"name": "x"}}


def test_a_text_where_a_table_belongs_is_a_fault() -> None:
    """A file that says `hold = 3` is refused in words, and so is one that is no TOML."""
    with pytest.raises(SettingsFault, match="found 3, expected a table"):
        edited("hold = 3\n", {"hold.low": "1 lbf"})
    for read in (lambda text: edited(text, {}), values_of):
        with pytest.raises(SettingsFault, match="not valid TOML"):
            read("[hold")


@pytest.mark.parametrize(("text", "value"), [("9600", 9600), ("0.97", 0.97), ("1e9", "1e9"), ("٣", "٣"), ("", "")])
def test_only_a_plain_number_is_one(text: str, value: object) -> None:
    """Figures and a point make a number; anything else stays text, which the loader refuses."""
    assert plain_number(text) == value


def test_a_name_is_used_once(tmp_path: Path) -> None:
    """A ready-made name and one of the shop's own are refused for another sheet, however they are written."""
    shelf = shop.holds(tmp_path)
    answers = values_of(HOLD)
    ours = shelf.keep("Reserve 900", answers, None)
    assert ours.path == tmp_path / "holds/reserve-900.toml"
    for name, said in (("Main HMPE", "ready-made"), ("reserve 900", "the shop's own"), ("--", "a letter or a figure")):
        with pytest.raises(SettingsFault, match=said) as refused:
            shelf.keep(name, answers, None)
        assert refused.value.key == "name"
    again = shelf.keep("reserve 900", {"hold.target": "31 lbf"}, ours)
    assert again.path == ours.path
    assert shop.hold_named("reserve-900", tmp_path).target_mn == 137_895


def test_settings_that_are_wrong_are_named(tmp_path: Path) -> None:
    """Each wrong entry of the settings is a fault that names file and key; without the file nothing is set."""
    path = tmp_path / "settings.toml"
    assert load_preferences(path) == Preferences()
    for text, said in (
        ('[window]\nlook = "grey"\n', "expected one of dark, light"),
        ('[window]\nlooks = "dark"\n', "the nearest known is 'look'"),
        ('[places]\nshop = "loft"\n', "expected a whole path"),
        ('[place]\nshop = "/loft"\n', "unknown key 'place'"),
        ("[places]\nshop = 3\n", "expected a path in quotes"),
    ):
        path.write_text(text)
        with pytest.raises(SettingsFault, match=said):
            load_preferences(path)
