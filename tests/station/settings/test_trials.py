import pytest
from hypothesis import given
from hypothesis import strategies as st

from station import units
from station.settings.tables import SettingsFault
from station.settings.trials import Trial, length_of_decimal_m, load_trials


def written(tmp_path, text):
    """Write a trials file and give its path."""
    path = tmp_path / "trials.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_rows_are_read_in_metres(tmp_path):
    """Lengths come with their units, in any order of columns; blank lines and spaces do not count."""
    path = written(tmp_path, "shortening, trap ,lot,guest\n 3/8 in,6 in,L7,HMPE\n\n10 mm,150 mm,,\n")
    assert load_trials(path) == [Trial(0.1524, 0.009525, "L7", "HMPE"), Trial(0.15, 0.01)]


def test_rows_count_from_one_below_the_header(tmp_path):
    """Each trial knows its row, blank lines not counted, and the material of its host where the file tells it."""
    path = written(tmp_path, "trap,shortening,material\n5 in,5/16 in,HMPE 725\n\n6 in,3/8 in,\n")
    assert [(each.row, each.material) for each in load_trials(path)] == [(1, "HMPE 725"), (2, "")]


def test_a_header_alone_is_no_trial_yet(tmp_path):
    """A file with only its header holds no trials, and that is no fault."""
    assert load_trials(written(tmp_path, "trap,shortening\n")) == []


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", ("empty", "trap,shortening")),
        ("trap\n5 in\n", ("header", "'shortening'", "missing")),
        ("trap,shorting\n", ("header", "'shorting'", "the nearest known is 'shortening'")),
        ("trap,shortening,trap\n", ("header", "'trap'", "twice")),
        ("trap,shortening\n5 in,3/8 in\n5 in\n", ("row 2", "1 cells", "expected 2")),
        ("trap,shortening\n5 in,3/8\n", ("row 1", "shortening", "'3/8'")),
        ("trap,shortening\n5 lbf,3/8 in\n", ("row 1", "trap", "'5 lbf'")),
        ("trap,shortening\n0 in,3/8 in\n", ("row 1", "trap", "'0 in'", "above zero")),
        ('trap,shortening\n5 in,"3/8 in\n', ("CSV",)),
    ],
)
def test_what_is_wrong_is_named(tmp_path, text, parts):
    """A bad header or row is refused with file, row, column, found and expected."""
    path = written(tmp_path, text)
    with pytest.raises(SettingsFault) as caught:
        load_trials(path)
    assert [part for part in (str(path), *parts) if part not in str(caught.value)] == [], str(caught.value)


def test_a_file_that_is_no_text(tmp_path):
    """Bytes that are no UTF-8, and a file that is not there, are refused by name."""
    path = tmp_path / "trials.csv"
    path.write_bytes(b"trap,shortening\n\xff\xfe,1 in\n")
    with pytest.raises(SettingsFault, match="no text file"):
        load_trials(path)
    with pytest.raises(SettingsFault, match="cannot be read"):
        load_trials(tmp_path / "none.csv")


@given(
    st.from_regex(r"[0-9]{1,10}(\.[0-9]{0,10})?", fullmatch=True),
    st.sampled_from(["", " ", "  "]),
    st.sampled_from(["in", "mm", "cm", "m", "ft", '"']),
)
def test_a_decimal_read_the_short_way_is_the_same_number(number, gap, unit):
    """A plain decimal gives, to the last bit, what the strict reader of quantities gives."""
    text = f"{number}{gap}{unit}"
    assert length_of_decimal_m(text) == units.length_m(text)


@pytest.mark.parametrize(
    "text", ["", "5", "5,2 in", "-5 lbf", "nan in", "5 furlongs", "2 + 3 in", "٥ in", "1e99999 in"]
)
def test_what_is_no_length_is_refused_the_same_way(text):
    """What the strict reader refuses is refused in its words."""
    with pytest.raises(units.QuantityFault) as strict:
        units.length_m(text)
    with pytest.raises(units.QuantityFault) as short:
        length_of_decimal_m(text)
    assert str(short.value) == str(strict.value)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("5 in,3/8 in\n\n6 in,nan in\n0 in,x\n", "row 2 (line 4): shortening: found 'nan in'"),
        ("5 in,3/8 in\n0 in,x\n", "row 2 (line 3): trap: found '0 in', expected a length above zero"),
        ("-5 in,3/8 in\n", "row 1 (line 2): trap: found '-5 in', expected a length above zero"),
        ("5 in,3/8 in\n5 in\n", "row 2 (line 3): found 1 cells, expected 2"),
        ("5 lbf,3/8 in\n", "row 1 (line 2): trap: found '5 lbf'"),
    ],
)
def test_the_first_row_that_is_wrong_is_named(tmp_path, rows, said):
    """A fault names the file, the row, its line, the column and what was found."""
    path = written(tmp_path, f"trap,shortening\n{rows}")
    with pytest.raises(SettingsFault) as fault:
        load_trials(path)
    assert f"{path}: {said}" in str(fault.value)
