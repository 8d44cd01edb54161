import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings

from station.linework.drawing import layout
from station.linework.line_plan import make_plan
from station.linework.placing import Box, place, text_width
from station.linework.sheet import svg
from station.settings.plan import (
    CanopyEnd,
    HeightMark,
    Joint,
    LineSettings,
    LinkEnd,
    MidLoop,
    PlanSettings,
    SewingSettings,
    ShrinkageSettings,
)
from tests.station.linework.trees import INCH, plans

TACK = SewingSettings("bar-tack", 0.5 * INCH, 42, None, 0.0, 0.25 * INCH)


def main(name, length, trap=5):
    """Give a main line; lengths in inches, or no length."""
    return LineSettings(
        name,
        LinkEnd(1.5 * INCH, trap * INCH, sewing=TACK),
        CanopyEnd(5 * INCH, 1 * INCH, sewing=TACK),
        None if length is None else length * INCH,
    )


def branch(name, joins, at, length, trap=5):
    """Give a cascade; lengths in inches, or no length."""
    return LineSettings(
        name,
        Joint(joins, at * INCH, trap * INCH, sewing=TACK),
        CanopyEnd(trap * INCH, 0.0, 1.25 * INCH, sewing=TACK),
        None if length is None else length * INCH,
    )


def looped(name, length):
    """Give a main line with a loop of its running end, one of its own piece, and two plain marks; lengths in inches."""
    return replace(
        main(name, length),
        loops=(
            MidLoop("brake loop", 6.5 * INCH, 1.5 * INCH, 4 * INCH, "running end"),
            MidLoop("spare loop", 30 * INCH, 1 * INCH, 3 * INCH),
        ),
        marks=(HeightMark("toggle", 60 * INCH), HeightMark("a mark with a long name", 31 * INCH)),
    )


def planned(*lines):
    """Work out a plan of these lines."""
    return make_plan(PlanSettings("p.toml", "a plan", 44.5, INCH / 2, lines, shrinkage=ShrinkageSettings(0.0625, 0.01)))


PLANS = {
    "one cascade": planned(main("A", 120), branch("B", "A", 48, 75)),
    "three lines in one cascade": planned(main("A", 120), branch("B", "A", 48, 75), branch("C", "A", 60, 62)),
    "a cascade of cascades": planned(
        main("A", 120), branch("B", "A", 48, 75), branch("C", "B", 20, 50), branch("D", "C", 12, 36, trap=3)
    ),
    "five branches on one main": planned(
        main("A", 120), *(branch("BCDEF"[n], "A", 30 + 14 * n, 90 - 16 * n, trap=4) for n in range(5))
    ),
    "short traps close together": planned(
        main("A", 60, trap=1), *(branch(f"branch {n}", "A", 4 + 1.5 * n, 30 - 2 * n, trap=1) for n in range(8))
    ),
    "two mains with long names": planned(
        main("centre A left, the outermost line of all", 120),
        main("second", 90),
        branch("a very long name for a cascade line", "second", 20, 10, trap=4),
        branch("x", "second", 40, 60),
    ),
    "names without a space": planned(main("A" * 60, 120), branch("m" * 60, "A" * 60, 48, 40)),
    "no lengths": planned(main("A", None), branch("B", "A", 48, None)),
    "loops and marks": planned(looped("A", 80), branch("B", "A", 50, 20)),
    "loops without a length": planned(looped("A", None)),
}


def thin(x, y_from, y_to):
    """Give a vertical stroke as a box."""
    return Box(x - 0.5, y_from, 1.0, y_to - y_from)


def riser_boxes(line):
    """Give a rising line as small boxes along its curve."""
    half = (line.start_x + line.lane_x) / 2
    points = []
    for n in range(41):
        t = n / 40
        a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
        points.append((a * line.start_x + (b + c) * half + d * line.lane_x, (a + b) * line.start_y + (c + d) * line.y))
    return [
        Box(min(x0, x1) - 2, min(y0, y1) - 2, abs(x1 - x0) + 4, abs(y1 - y0) + 4)
        for (x0, y0), (x1, y1) in itertools.pairwise(points)
    ]


def clashes(placed):
    """Find every pair of words that overlap, words over any drawn thing, and words off the canvas."""
    words, things = {}, {}
    for line in placed.lines:
        name = line.line.name
        words["name", name] = line.name.box
        things["line", name] = [Box(line.lane_x, line.y - 2.5, line.end_x - line.lane_x, 5)]
        things["attachment", name] = [Box(line.end_x + 1.5, line.y - 20, 5, 40)]
        if line.line.joins is None:
            things["link", name] = [Box(line.start_x - 15, line.y - 17, 20, 34)]
            words["link", name] = Box(
                line.start_x - 24 - text_width("link", 15), line.y - 8, text_width("link", 15), 16
            )
        else:
            things["riser", name] = riser_boxes(line)
        if line.line.knot:
            things["knot", name] = [Box(line.end_x + 8, line.y - 7, 19, 14)]
        things["loops", name] = [Box(low, line.y - 9, high - low, 18) for low, high in line.loops]
    leaders = {}
    for line in placed.lines:
        for mark in line.marks:
            key = line.line.name, mark.name
            words["plain mark", *key] = mark.words.box
            things["plain tick", *key] = [thin(mark.x, mark.y - 19, mark.y + 19)]
            leaders[key] = thin(mark.x, mark.y + 19, mark.leader_to_y)
    for trap in placed.traps:
        things["trap", trap.trap.name] = [trap.box]
        if trap.number is not None:
            words["number", trap.trap.name] = trap.number.box
        for mark in trap.marks:
            key = trap.trap.name, mark.name
            words["mark", *key] = mark.words.box
            things["tick", *key] = [thin(mark.x, mark.y - 19, mark.y + 19)]
            leaders[key] = thin(mark.x, mark.y + 19, mark.leader_to_y)
    found = [pair for pair in itertools.combinations(words, 2) if words[pair[0]].overlaps(words[pair[1]])]
    found += [
        (word, thing)
        for word, box in words.items()
        for thing, boxes in things.items()
        if any(box.overlaps(each) for each in boxes)
    ]
    found += [
        (word, ("leader", *key))
        for word, box in words.items()
        for key, leader in leaders.items()
        if box.overlaps(leader)
    ]
    canvas = Box(0, 0, placed.width, placed.height)
    found += [
        (word, "canvas")
        for word, box in words.items()
        if box.x < 0 or box.y < 0 or box.x + box.width > canvas.width or box.y + box.height > canvas.height
    ]
    return found


def text_boxes(picture):
    """Give every text of a picture with the box it may take."""
    found = []
    for element in ET.fromstring(picture).iter("{http://www.w3.org/2000/svg}text"):  # noqa: S314 our own picture
        size, bold = float(element.get("font-size")), element.get("font-weight") == "bold"
        width = text_width(element.text, size, bold)
        x = (
            float(element.get("x"))
            - {"start": 0, "middle": width / 2, "end": width}[element.get("text-anchor", "start")]
        )
        found.append((element.text, Box(x, float(element.get("y")) - 0.8 * size, width, size)))
    return found


@pytest.mark.parametrize("name", PLANS)
def test_nothing_overlaps(name):
    """In every picture the words of marks, numbers and names lie clear of each other and of all that is drawn."""
    assert clashes(place(layout(PLANS[name]))) == []


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(plans(most_lines=6))
def test_nothing_overlaps_in_any_tree(plan):
    """However the lines join and however close their traps, the words lie clear of each other and of the lines."""
    assert clashes(place(layout(make_plan(plan)))) == []


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("mirror", [False, True])
def test_no_two_texts_of_the_sheet_overlap(name, mirror):
    """Every text of the sheet, tables and notes included, lies between the ends of the rules, clear of every other."""
    plan = PLANS[name]
    boxes = text_boxes(svg(layout(plan), plan, mirror=mirror))
    assert [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if one.overlaps(other)] == []
    over = [text for text, box in boxes if box.x < 39.9 or box.x + box.width > 1160.1]
    assert set(over) <= {"link"}  # which no font writes so wide


def test_positions_are_to_scale():
    """Everything lies at its finished length from the link, divided by the longest line's."""
    drawing = layout(PLANS["three lines in one cascade"])
    bench = 48 + 75
    assert drawing.length_m == pytest.approx(bench * INCH)
    assert [(line.name, line.lane, line.depth) for line in drawing.lines] == [("A", 0, 0), ("C", 1, 1), ("B", 2, 1)]
    assert [line.start for line in drawing.lines] == pytest.approx([0, 60 / bench, 48 / bench])
    assert [line.end for line in drawing.lines] == pytest.approx([120 / bench, 122 / bench, 1])
    traps = {trap.name: trap for trap in drawing.traps}
    assert (traps["B into A"].start, traps["B into A"].end) == pytest.approx((43 / bench, 48 / bench))
    assert (traps["A link end"].start, traps["A link end"].end) == pytest.approx((1.5 / bench, 6.5 / bench))
    assert (traps["C canopy end"].start, traps["C canopy end"].end) == pytest.approx((117 / bench, 122 / bench))
    assert traps["B into A"].marks[0].at == traps["B into A"].end == traps["B into A"].entry
    assert traps["B into A"].marks[0].words == ("2 B enters", "5/16 in past")
    assert traps["B into A"].marks[1].words == ("2 ends", "level")
    placed = place(drawing)
    widths = {trap.trap.name: trap.box.width for trap in placed.traps}
    assert widths["B into A"] == pytest.approx(5 * INCH * placed.scale)


def test_loops_and_marks_are_to_scale():
    """A loop in mid-line stands open between its two traps, and a plain mark at its finished height."""
    drawing = layout(planned(looped("A", 80)))
    line = drawing.line("A")
    assert line.loops == (pytest.approx((6.5 / 80, 8 / 80)), pytest.approx((30 / 80, 31 / 80)))
    assert [(mark.name, mark.at) for mark in line.marks] == [
        ("toggle", pytest.approx(60 / 80)),
        ("a mark with a long name", pytest.approx(31 / 80)),
    ]
    assert [mark.words for mark in line.marks] == [("toggle", "level"), ("a mark with…", "level")]
    traps = {trap.name: trap for trap in drawing.traps}
    assert traps["A spare loop below"].entry == traps["A spare loop below"].end == pytest.approx(30 / 80)
    assert traps["A spare loop above"].entry == traps["A spare loop above"].start == pytest.approx(31 / 80)
    picture = svg(drawing)
    x = [f"{each:.2f}" for each in place(drawing).lines[0].loops[0]]
    assert f"H{x[0]}M{x[1]} " in picture
    assert picture.count("<ellipse") == 4  # both ends' loops and the two in mid-line


def test_the_bar_of_scale_is_true():
    """The bar says how long it is: a length of the bench that many inches long, on a short bench and a long one."""
    for length, words in ((2, "1 in"), (20, "3 in"), (120, "12 in"), (4000, "600 in")):
        line = LineSettings("A", LinkEnd(0.2 * INCH, 0.5 * INCH), CanopyEnd(0.5 * INCH), length * INCH)
        drawing = layout(planned(line))
        picture = svg(drawing)
        bar = float(re.search(r"m0 -5h([0-9.]+)m0 -5v10", picture)[1])
        assert f">{words}</text>" in picture
        assert bar == pytest.approx(float(words.split()[0]) * INCH * place(drawing).scale, abs=0.01)


def test_lines_that_rise_never_cross():
    """What joins higher lies in a nearer lane, with all it carries, so a lower one rises past it on the left."""
    placed = place(layout(PLANS["five branches on one main"]))
    rising = {line.line.name: riser_boxes(line) for line in placed.lines if line.line.joins is not None}
    lanes = {line.line.name: Box(line.lane_x + 1, line.y - 2, line.end_x - line.lane_x - 1, 4) for line in placed.lines}
    for name, boxes in rising.items():
        for other, lane in lanes.items():
            if other not in (name, "A"):
                assert not any(box.overlaps(lane) for box in boxes)
        for other, others in rising.items():
            if other != name:
                assert not any(box.overlaps(each) for box in boxes for each in others)


def test_a_line_without_length_is_broken_and_said_to_be_so():
    """Where a length is not known the line has a break and the picture says it is not to scale."""
    drawing = layout(PLANS["no lengths"])
    assert not drawing.to_scale
    assert all(line.broken_at is not None and line.length is None for line in drawing.lines)
    picture = svg(drawing)
    assert "not to scale: a broken line has no length given" in picture
    assert "to scale" in svg(layout(PLANS["one cascade"]))
    assert "not to scale" not in svg(layout(PLANS["one cascade"]))


def test_a_trap_made_is_solid_and_one_to_come_dashed():
    """Only the traps not yet made are dashed inside."""
    plan = PLANS["one cascade"]
    drawing = layout(plan)
    assert svg(drawing).count("stroke-dasharray") == 4
    assert svg(drawing, made=["A link end", "B into A"]).count("stroke-dasharray") == 2
    assert svg(drawing, made=plan.order).count("stroke-dasharray") == 0


def test_the_mirror_puts_the_link_at_the_right():
    """Mirrored, every trap lies as far from the right edge as it did from the left."""
    drawing = layout(PLANS["one cascade"])
    boxes = re.compile(r'<rect x="([0-9.]+)" y="([0-9.]+)" width="([0-9.]+)" height="20.00"')
    one = [tuple(map(float, found)) for found in boxes.findall(svg(drawing))]
    other = [tuple(map(float, found)) for found in boxes.findall(svg(drawing, mirror=True))]
    assert len(one) == 4
    assert [(x + width, y) for x, y, width in one] == [(pytest.approx(1200 - x, abs=0.03), y) for x, y, _ in other]


@pytest.mark.parametrize("look", ["dark", "light"])
def test_the_picture_needs_nothing_beside_itself(look):
    """The picture is well-formed, names nothing to fetch, runs nothing, and escapes what people typed."""
    plan = make_plan(
        replace(
            PLANS["one cascade"].settings,
            name='<script>alert("x")</script> & more',
            lines=(main("A<b>", 120), branch('B"&', "A<b>", 48, 75)),
        )
    )
    picture = svg(layout(plan), plan, look=look)
    root = ET.fromstring(picture)  # noqa: S314 our own picture
    tags = {element.tag.split("}")[1] for element in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "text", "path", "ellipse", "circle"}
    assert re.findall(r"href|url\(|@import|<script|<image|<style", picture) == []
    assert picture.count("http") == 1  # the name of SVG's own namespace
    texts = [text for text, _ in text_boxes(picture)]
    assert '<script>alert("x")</script> & more' in texts
    assert 'B"& into A<b>' in texts


def all_words(placed):
    """Give all words of a drawing."""
    words = [line.name for line in placed.lines] + [trap.number for trap in placed.traps if trap.number is not None]
    words += [mark.words for line in placed.lines for mark in line.marks]
    return words + [mark.words for trap in placed.traps for mark in trap.marks]


@pytest.mark.parametrize("name", PLANS)
def test_words_have_the_room_they_need_and_no_empty_tiers(name):
    """A box is as wide as its words, a number's leaves room for its ring; words stand near the top and the bottom."""
    placed = place(layout(PLANS[name]))
    for words in all_words(placed):
        needed = max(text_width(row, words.size, words.bold) for row in words.rows)
        assert words.box.width > needed - 0.01
    for trap in placed.traps:
        if trap.number is not None:
            assert trap.number.box.width >= text_width(trap.number.rows[0], trap.number.size, bold=True) + 8
    assert 0 <= min(words.box.y for words in all_words(placed)) < 10
    assert 0 <= placed.height - max(words.box.y + words.box.height for words in all_words(placed)) < 10


@pytest.mark.parametrize("name", PLANS)
def test_a_trap_and_its_marks_belong_together(name):
    """A trap lies across its host, each leader runs beside all its words, and only at its start words stand left."""
    placed = place(layout(PLANS[name]))
    lanes = {line.line.name: line.y for line in placed.lines}
    for trap in placed.traps:
        assert trap.box.y + trap.box.height / 2 == pytest.approx(lanes[trap.trap.host])
        for drawn, mark in zip(trap.trap.marks, trap.marks, strict=True):
            assert mark.leader_to_y == pytest.approx(mark.words.box.y + mark.words.box.height)
            assert mark.words.anchor == "start" or drawn.at == trap.trap.start


@pytest.mark.parametrize("name", PLANS)
def test_a_number_stands_near_its_trap_and_a_name_near_its_line(name):
    """A number is no further than 26 from its trap's middle on either side; a name past an end stands close to it."""
    placed = place(layout(PLANS[name]))
    for trap in placed.traps:
        if trap.number is not None:
            middle, box = trap.box.x + trap.box.width / 2, trap.number.box
            assert middle - 26 <= box.x <= box.x + box.width <= middle + 26
    for line in placed.lines:
        if line.name.anchor == "start":
            drawn_to = line.end_x + (27 if line.line.knot else 6.5)
            assert 0 < line.name.box.x - drawn_to < 10


def named(name="B", length=75, trap=4):
    """Give the words of a cascade's name, where its lane begins, and the box of the number of its only trap."""
    placed = place(layout(planned(main("A", 120), branch(name, "A", 48, length, trap=trap))))
    line = next(line for line in placed.lines if line.line.name == name)
    return line.name, line.lane_x, next(trap.number.box for trap in placed.traps if trap.trap.host == name)


def test_a_name_stands_in_the_middle_of_its_free_stretch():
    """A name stands midway between where its line has reached its lane and 2 short of the next number."""
    name, lane_x, number = named()
    assert name.box.y + name.box.height == number.y + number.height
    assert name.box.x + name.box.width / 2 == pytest.approx((lane_x + number.x - 2) / 2)


def test_a_name_needs_five_on_either_side():
    """As its trap grows, a line's name stays beside the number until 5 are left free on either side, and no longer."""
    clear = [
        name.box.x - lane_x
        for name, lane_x, number in (named(length=30, trap=4 + n / 10) for n in range(120))
        if name.anchor == "middle" and name.box.y == number.y
    ]
    assert 5 <= min(clear) < 5.5


@pytest.mark.parametrize("length", [60, 61])
def test_a_name_past_its_end_is_cut_no_shorter_than_it_must_be(length):
    """A name too long for its line and for the room beyond it keeps every letter that the room has a place for."""
    name = "m" * length
    words, _, _ = named(name, length=12)
    kept = words.rows[0].removesuffix("…")
    room = 1200 - 40 - words.box.x
    assert words.anchor == "start"
    assert len(kept) > 1
    assert text_width(f"{kept}…", words.size, bold=True) <= room < text_width(f"{kept}m…", words.size, bold=True)


def test_a_mark_above_the_closing_entry_overlaps_nothing():
    """Where a plain mark stands above the closing entry, no words lie over other words or a leader."""
    marked = replace(main("A", 120), marks=(HeightMark("end", 120 * INCH),))
    assert clashes(place(layout(planned(marked)))) == []


def test_a_number_stands_over_its_trap_or_clear_of_the_line_that_rises_there():
    """A number stands over its trap's middle; where a line rises there it stands beside it, 5 clear of that line."""
    closing = replace(main("A", 51), canopy_end=CanopyEnd(1 * INCH, 1 * INCH))
    placed = place(layout(planned(closing, branch("B", "A", 48, 75, trap=1))))
    rising = next(line for line in placed.lines if line.line.name == "B")
    traps = {trap.trap.name: trap for trap in placed.traps}
    over = traps["A link end"]
    assert over.number.box.x + over.number.box.width / 2 == pytest.approx(over.box.x + over.box.width / 2)
    left, right = traps["B into A"].number.box, traps["A canopy end"].number.box
    assert left.x + left.width == pytest.approx(rising.start_x - 5)
    assert right.x == pytest.approx(rising.lane_x + 5)


def test_the_marks_of_a_narrow_trap_have_their_words_on_either_side():
    """Where the two marks of a trap all but touch, the words of one stand left and of the other right of them."""
    placed = place(layout(planned(main("A", 300, trap=1))))
    narrow = placed.traps[0]
    assert narrow.box.width < 4
    assert {mark.words.anchor for mark in narrow.marks} == {"start", "end"}
    assert len({mark.words.box.y for mark in narrow.marks}) == 1


def test_a_line_that_rises_takes_no_room_below_its_host():
    """Below the host of a joint, words may stand under the line that rises from it."""
    placed = place(layout(planned(main("A", 120), branch("B", "A", 104, 40))))
    rising = next(line for line in placed.lines if line.line.name == "B")
    closing = next(trap for trap in placed.traps if trap.trap.name == "A canopy end")
    left = next(mark.words for mark in closing.marks if mark.words.anchor == "end")
    assert left.box.x < rising.lane_x + 5


def distances(host, plans_tried):
    """Give the least distances of words of a host's marks: from words beside them, from leaders left, leaders right."""
    beside, left, right = [], [], []
    for plan in plans_tried:
        marks = [mark for trap in place(layout(plan)).traps if trap.trap.host == host for mark in trap.marks]
        for one, other in itertools.permutations(marks, 2):
            box, words = one.words.box, other.words.box
            if box.y == words.y and box.x < words.x:
                beside.append(words.x - box.x - box.width)
            if other.leader_to_y > box.y:
                left += [box.x - other.x] if other.x < box.x else []
                right += [other.x - box.x - box.width] if other.x > box.x else []
    return min(beside), min(left), min(right)


def test_words_stand_as_near_as_three_and_no_nearer():
    """As a joint moves along its host, and as its trap grows, words keep 3 clear of all beside them, and no more."""
    moved = (planned(main("A", 120), branch("B", "A", 48, 75), branch("C", "A", 55 + n / 20, 40)) for n in range(400))
    grown = (planned(main("A", 120), branch("B", "A", 7 + n / 20, 75, trap=n / 20)) for n in range(80, 300))
    beside, left, _ = distances("A", moved)
    _, _, right = distances("A", grown)
    assert 3 <= beside < 3.5
    assert 3 <= left < 3.5
    assert 3 <= right < 3.5


def test_widths_of_text_are_neither_underestimated_nor_far_too_wide():
    """The width allowed is at least what the two fonts measured need, and but for the O at most a fifth more."""
    # Advance widths over 1000 units, B612 Regular and DejaVu Sans, then B612 Bold and DejaVu Sans Bold, read with a
    # font library: the widest letters and some of every kind.
    for letter, regular, bold in (
        ("m", 974, 1042),
        ("W", 989, 1103),
        ("M", 900, 995),
        ("O", 800, 850),
        ("5", 650, 696),
        ("/", 550, 550),
        ("i", 300, 343),
        ("l", 350, 350),
        ("a", 613, 675),
        ("A", 684, 774),
        (" ", 350, 350),
        ("#", 850, 850),
        ("&", 780, 873),
        ("]", 500, 500),
    ):
        assert text_width(letter, 1000) >= regular
        assert text_width(letter, 1000, bold=True) >= bold
        if letter != "O":  # it is of a kind with the W
            assert text_width(letter, 1000) < 1.21 * regular
            assert text_width(letter, 1000, bold=True) < 1.21 * bold
