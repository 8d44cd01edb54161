import random
from fractions import Fraction

import pytest

from drivers.events import Beside, GaugeReading, LinkLost, PedalEdge, Tick
from station.bench.measuring_set import MeasuringSet, begin, table_text
from station.linework.line_set import check
from station.linework.set_jobs import file_name, plan_for
from station.settings.line_table import load_line_table
from station.settings.plan import load_plan, read_plan
from station.settings.tables import SettingsFault, Table

INCH = 25_400_000
CHART = "line,side,length,chart\nA1,L,,120 in\nA1,R,,120 in\nA2,L,,121 in\nA2,R,,121 in\n"


def measuring(text=CHART):
    """Give a set to measure, and what was kept of it."""
    kept = []
    return MeasuringSet(begin("set.csv", text), kept.append), kept


def press(work, at_s, long=False):
    """Press the foot at this second, for long or not, and let it settle."""
    down_us = round(at_s * 1e6)
    up_us = down_us + (1_200_000 if long else 200_000)
    work.take([PedalEdge(down_us, True), PedalEdge(up_us, False), Tick(up_us + 50_000)])


def test_a_length_comes_typed_tapped_or_from_a_gauge():
    """Typed, from a gauge, level by a tap and so many sixteenths by taps: each is kept, and the next is asked for."""
    work, kept = measuring()
    assert work.typed("120 1/4 in") is None
    press(work, 1)  # level
    work.gauged(121 * INCH)
    press(work, 3, long=True)  # long or short?
    press(work, 6)  # short
    for n in range(3):
        press(work, 9 + n)
    work.take([Tick(16_000_000)])
    press(work, 17)
    assert [each.length_nm for each in work.asked] == [
        120 * INCH + INCH // 4,
        120 * INCH + INCH // 4,
        121 * INCH,
        121 * INCH - 3 * INCH // 16,
    ]
    assert work.now is None
    assert len(kept) == 4
    assert load_line_table("kept", kept[-1]) == work.sides()


def read_gauge(work, begin_s, *lengths_um):
    """Let a gauge read each length for a second and a half."""
    at_us = round(begin_s * 1e6)
    for length_um in lengths_um:
        for _ in range(6):
            work.take([Beside(at_us, "gauge", GaugeReading(at_us, length_um, None)), Tick(at_us)])
            at_us += 300_000


def test_a_tap_takes_what_the_gauge_reads_once_it_stands():
    """A length that stands still is taken by a tap; one that moves, is lost or is none of this line's is not."""
    work, kept = measuring()
    read_gauge(work, 1, 3_050_000)
    assert (work.gauge_nm, work.foot_words) == (3_050_000_000, "Tap to take what the gauge reads, or type the length.")
    press(work, 2.7)
    assert work.asked[0].length_nm == 3_050_000_000
    read_gauge(work, 4, 3_048_000)
    work.take([Beside(5_600_000, "gauge", GaugeReading(5_600_000, 3_060_000, None))])
    press(work, 5.65)
    assert "the gauge does not stand still" in work.notice.text
    assert work.asked[1].length_nm is None
    read_gauge(work, 8, 12_700)  # a dial that reads a difference
    assert work.gauge_nm is None
    press(work, 9.6)  # level
    assert work.asked[1].length_nm == 3_050_000_000
    read_gauge(work, 12, 3_073_400)
    work.take([Beside(13_700_000, "gauge", LinkLost(13_700_000, "out", "plug it in"))])
    assert work.notice.text == "The gauge: out: plug it in"
    press(work, 13.8)
    assert "its opposite number is not measured: type the length" in work.notice.text
    assert len(kept) == 2


def test_a_slip_of_the_pen_is_not_entered():
    """A length more than a tenth from its chart, or without one from its opposite number, is said and not kept."""
    work, kept = measuring()
    assert "more than a tenth from its chart" in work.typed("1200 in")
    assert "more than a tenth from its chart" in work.typed("132 1/16 in")
    assert work.typed("132 in") is None
    bare, _ = measuring("line,side,length\nA1,L,\nA1,R,\n")
    assert bare.typed("1200 in") is None
    assert "more than a tenth from its opposite number" in bare.typed("120 in")
    assert (len(kept), bare.asked[1].length_nm) == (1, None)


def test_what_is_kept_goes_on_where_it_was_left():
    """A set left in the middle is read back with what it has, and asks for the first line without a length."""
    work, kept = measuring()
    work.typed("120.0001 in")
    again = MeasuringSet(begin("set.csv", kept[-1]), kept.append)
    assert again.asked == work.asked
    assert (again.now.name, again.done) == ("A1 R", 1)
    with pytest.raises(SettingsFault, match=r"row 2 .*length"):
        load_line_table("set.csv", kept[-1])


def test_nothing_is_guessed_or_lost():
    """A tap before the opposite number is measured, a bad length and a full disk enter nothing, and say why."""
    work, _ = measuring()
    press(work, 1)
    assert work.done == 0
    assert "type the length" in work.notice.text
    assert "found '120'" in work.typed("120")
    assert work.done == 0

    def full(_text):
        raise OSError(28, "No space left on device")

    broken = MeasuringSet(begin("set.csv", CHART), full)
    with pytest.raises(OSError, match="space"):
        broken.typed("120 in")
    assert (broken.done, broken.now.name) == (0, "A1 L")


def test_a_line_can_be_measured_again():
    """Back asks for the line before; what it has stays until another length comes; a press goes back where none is."""
    work, _ = measuring()
    work.typed("120 in")
    work.back()
    assert (work.now.name, work.done) == ("A1 L", 1)
    work.typed("119 in")
    assert work.asked[0].length_nm == 119 * INCH
    work.typed("119 in")
    press(work, 1, long=True)
    assert work.now.name == "A1 R"
    with pytest.raises(KeyError):
        work.go_to("Z9 L")


def test_a_table_comes_back_as_it_was_written():
    """Any lengths in whole nanometres are written and read back exactly."""
    chance = random.Random(1)  # noqa: S311  repeatable, no secret
    asked = begin("set.csv", CHART)
    for _ in range(50):
        work = MeasuringSet(asked, lambda _text: None)
        for _each in asked:
            work.gauged(chance.randrange(1, 10**11))
        assert begin("again", table_text(work.asked)) == work.asked


def test_a_plan_for_each_line_to_remake(tmp_path):
    """The template with name, length and reference of the line, and nothing else changed; it reads as a plan."""
    rows = "A1,L,120 in,120 in\nA1,R,122 in,120 in\nA2,L,121 in,121 in\nA2,R,121 in,121 in\n"
    found = check(load_line_table("x", f"line,side,length,chart\n{rows}"), Fraction(INCH, 2), Fraction(INCH, 2))
    template = tmp_path / "template.toml"
    text = (
        '# ours\n[plan]\nname = "Teasel 190"  # invented\npull = "10 lbf"\ntolerance = "1/2 in"\n'
        '[shrinkage]\ncoefficient = 0.06\n[[line]]\nname = "main"\n'
        'link_end = { loop = "1 in", trap = "5 in" }\ncanopy_end = { loop = "1 in", trap = "5 in" }\n'
    )
    template.write_text(text)
    (side,) = found.mending.remake
    made = plan_for(found, side, template)
    path = tmp_path / file_name(side)
    assert path.name == "A1-right.toml"
    path.write_text(made)
    plan = load_plan(path)
    assert (plan.name, plan.reference) == ("Teasel 190: A1 right", "chart")
    assert plan.lines[0].length_m == pytest.approx(120.5 * 0.0254)
    assert "# invented" in made
    template.write_text(text.replace('name = "Teasel 190"', 'name = """\nTeasel"""'))
    with pytest.raises(SettingsFault):
        plan_for(found, side, template)
    assert read_plan(Table("again", "", __import__("tomllib").loads(made))).lines == plan.lines
