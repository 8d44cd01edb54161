from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt

from drivers.events import PedalEdge, Tick
from station import set_app
from station.bench.measuring_set import begin
from station.bench_app import Sitting
from station.filing import job_state
from station.job_app import begin as begin_job
from station.job_app import bench_of
from station.linework.line_set import check
from station.records.archive import Archive
from station.settings.line_table import load_line_table
from station.settings.plan import load_plan
from station.settings.tables import SettingsFault
from station.views.job_forms import NEW_JOB

CHART = "line,side,length,chart\nA1,L,,120 in\nA1,R,,120 in\nA2,L,,121 in\nA2,R,,121 in\n"
TEMPLATE = (
    '[plan]\nname = "Teasel 190"\npull = "10 lbf"\ntolerance = "1/2 in"\n[shrinkage]\ncoefficient = 0.06\n'
    '[[line]]\nname = "main"\nlink_end = { loop = "1 in", trap = "5 in" }\n'
    'canopy_end = { loop = "1 in", trap = "5 in" }\n'
)


class Person:
    """Somebody who answers each form that is asked with the next answers, and remembers what was said."""

    def __init__(self, *answers):
        self.answers, self.said = list(answers), []

    def __call__(self, _title, text, _fields):
        """Answer."""
        self.said.append(text)
        return self.answers.pop(0) if self.answers else None


@pytest.fixture
def bench(qtbot, tmp_path):
    """Give what opens a page and keeps it: a page nobody keeps may be collected in the middle of being painted."""
    kept = []

    def open_page(*more, events=list, chart=CHART):
        kept.append(opened(qtbot, tmp_path, *more, events=events, chart=chart))
        return kept[-1]

    yield open_page
    for page, _ in kept:
        page.close()


def no_jobs(_lines):
    """Open no job, as where the person leaves it."""
    return []


def opened(qtbot, tmp_path, *more, events=list, chart=CHART):
    """Open the page on a chart."""
    table = tmp_path / "teasel.csv"
    table.write_text(chart)
    person = Person({"table": str(table), "tolerance": "1/2 in", "tilt": "1/2 in", "pull": "10 lbf"}, *more)
    page = set_app.measure(person, events, no_jobs, "light", "imperial")
    qtbot.addWidget(page)
    page.show()
    return page, person


def typed(qtbot, page, *lengths):
    """Type lengths, each ended with Enter."""
    for length in lengths:
        page.length.setText(length)
        qtbot.keyClick(page.length, Qt.Key.Key_Return)


def test_a_set_is_measured_closed_and_gone_on_with(qtbot, bench, tmp_path):
    """Lengths typed are on the disk at once; the page closed and opened again goes on at the next line."""
    page, _ = bench()
    assert page.title.text() == "Measure A1 left"
    typed(qtbot, page, "120 in", "120")
    assert "found '120'" in page.problem.text()
    assert page.length.text() == "120"
    kept = begin(tmp_path / "teasel-measured.csv")
    assert [each.length_nm for each in kept] == [3_048_000_000, None, None, None]
    assert page.picture.accessibleDescription() == "1 of 4 measured: no verdict before the last."
    page.close()
    again, _ = bench()
    assert again.title.text() == "Measure A1 right"
    assert "1 of 4 measured; its opposite number is 120 in" in again.told.text()


def test_the_foot_enters_a_line_level(qtbot, bench):
    """A tap of the foot enters the line asked for as long as its opposite number."""
    came = []
    page, _ = bench(events=lambda: [came.pop(0) for _ in list(came)])
    typed(qtbot, page, "120 1/4 in")
    came += [PedalEdge(1_000_000, True), PedalEdge(1_200_000, False), Tick(1_400_000)]
    page.frame()
    assert page.title.text() == "Measure A2 left"
    assert "A1 right: 120 1/4 in" in page.lines.item(1).text()


def test_what_did_not_count_is_said_until_something_does(bench):
    """A tap before the opposite number is measured is refused in words, and the words go with the next length."""
    came = [PedalEdge(1_000_000, True), PedalEdge(1_200_000, False)]
    page, _ = bench(events=lambda: [came.pop(0) for _ in list(came)])
    page.frame()
    assert "its opposite number is not measured" in page.problem.text()
    page._work.gauged(3_048_000_000)  # as a tap takes it from a gauge
    page.frame()
    assert page.problem.text() == ""


def test_a_plan_is_written_for_each_line_chosen(qtbot, bench, tmp_path):
    """Once all is measured the lines to remake are offered, and a plan is written for those ticked, over nothing."""
    template, folder = tmp_path / "template.toml", tmp_path / "plans"
    template.write_text(TEMPLATE)
    answers = {"template": str(template), "folder": str(folder)}
    page, person = bench(answers, answers)
    typed(qtbot, page, "120 in", "122 in", "121 in", "121 in")
    assert page.title.text() == "Every line is measured"
    assert "A1 right: make it 120 1/2 in" in page.choices.item(0).text()
    assert "Not in trim" in page.picture.accessibleDescription()
    page.plans.click()
    assert [path.name for path in folder.iterdir()] == ["A1-right.toml"]
    assert "A1-right.toml" in page.said.text()
    written = folder / "A1-right.toml"
    written.write_text(written.read_text() + "# read and changed\n")
    page.plans.click()
    assert "is there already" in person.said[-1]
    assert written.read_text().endswith("# read and changed\n")
    page.choices.item(0).setCheckState(Qt.CheckState.Unchecked)
    page.plans.click()
    assert page.problem.text() == "Tick at least one line."


def test_any_line_measured_can_be_chosen_instead(qtbot, bench, tmp_path):
    """Where the figures cannot tell which of two is out the person can: the fewest stand first, all others below."""
    template, folder = tmp_path / "template.toml", tmp_path / "plans"
    template.write_text(TEMPLATE)
    page, _ = bench({"template": str(template), "folder": str(folder)}, chart="line,side,length\nA1,L,\nA1,R,\nB1,L,\n")
    typed(qtbot, page, "120 in", "122 in", "118 in")
    offered = [page.choices.item(row) for row in range(page.choices.count())]  # B1 has no length to be made to
    assert [(each.text(), each.checkState()) for each in offered] == [
        ("A1 left: make it 122 in (as its opposite number, unless that one is out)", Qt.CheckState.Unchecked),
        ("A1 right: make it 120 in (as its opposite number, unless that one is out)", Qt.CheckState.Unchecked),
    ]
    offered[1].setCheckState(Qt.CheckState.Checked)
    page.plans.click()
    assert [path.name for path in folder.iterdir()] == ["A1-right.toml"]


def test_the_sets_page_is_written_on_paper(qtbot, bench, tmp_path):
    """Once every line is measured its page goes into a PDF beside the lengths; where it cannot, that is said."""
    page, _ = bench()
    assert not page.paper.isVisible()
    typed(qtbot, page, "120 in", "122 in", "121 in", "121 in")
    page.paper.click()
    written = tmp_path / "teasel-measured.pdf"
    assert page.said.text() == f"Written: {written}."
    assert written.read_bytes().startswith(b"%PDF-")
    written.unlink()
    written.mkdir()
    page.paper.click()
    assert (page.said.text(), page.problem.text()) == ("", f"{written}: cannot be written: Is a directory")


def test_where_no_choice_mends_lines_can_be_chosen_all_the_same(qtbot, bench):
    """Groups drifted apart: nothing is ticked, and each line is offered with the length that fits its neighbours."""
    chart = "line,side,length,chart\nA1,L,,120 in\nA1,R,,120 in\nB1,L,,120 in\nB1,R,,120 in\n"
    page, _ = bench(chart=chart)
    typed(qtbot, page, "122 in", "122 in", "120 in", "120 in")
    assert [page.choices.item(row).checkState() for row in range(page.choices.count())] == 4 * [Qt.CheckState.Unchecked]
    assert page.choices.item(0).text() == "A1 left: make it 122 in (chart 120 in, its group 2 in long)"


def test_a_length_that_cannot_be_kept_is_not_entered(qtbot, bench, monkeypatch):
    """Where the disk takes no more, it is said, the length stays in its field, and the same line is asked for."""
    page, _ = bench()

    def full(_descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(set_app.os, "fsync", full)
    typed(qtbot, page, "120 in")
    assert "this length was not kept: No space left on device" in page.problem.text()
    assert (page.title.text(), page.length.text()) == ("Measure A1 left", "120 in")


def test_what_is_wrong_is_asked_for_again(tmp_path):
    """A table that is not there and a tolerance of no size are said in the form, which is asked again."""
    table = tmp_path / "a.csv"
    table.write_text(CHART)
    right = {"table": str(table), "tolerance": "0 in", "tilt": "1/2 in", "pull": ""}
    person = Person(right | {"table": str(tmp_path / "none.csv"), "tolerance": "1/2 in"}, right)
    assert set_app.measure(person, list, no_jobs, "dark", "imperial") is None
    assert "none.csv" in person.said[1]
    assert "tolerance: found '0 in'" in person.said[2]


def test_plans_are_written_all_or_none(tmp_path):
    """A template that does not serve writes nothing."""
    rows = "line,side,length\nA1,L,1 m\nA1,R,1.1 m\n"
    found = check(load_line_table("x", rows), Fraction(1000), Fraction(1000))
    with pytest.raises(SettingsFault):
        set_app.write_plans(found, found.mending.remake, tmp_path / "none.toml", tmp_path / "plans")
    assert not (tmp_path / "plans").exists()


def test_a_job_is_opened_for_each_line_chosen(qtbot, tmp_path, monkeypatch):
    """Each line ticked becomes a job, the same as one begun from its plan by hand, that the bench goes on with."""
    table, template = tmp_path / "teasel.csv", tmp_path / "template.toml"
    table.write_text(CHART)
    template.write_text(TEMPLATE)
    given = {each.key: each.default or (each.choices[0] if each.choices else "") for each in NEW_JOB}
    given |= {"canopy.type": "Teasel 190", "people.worker": "Ansa Velling", "people.authority": "a test"}
    shared = {key: text for key, text in given.items() if key not in {"title", "side", "number", "line.removed"}}
    person = Person(
        {"table": str(table), "tolerance": "1/2 in", "tilt": "1/2 in", "pull": "10 lbf"},
        {"template": str(template), "folder": str(tmp_path / "plans")},
        shared | {"rated_strength": "strong"},
        shared,
    )
    monkeypatch.setattr("station.bench_app.ask", lambda _parent, _look, *words: person(*words[:3]))
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        sitting = Sitting(None, lambda: archive, "dark", "imperial", "lbf")
        sitting.show()
        qtbot.addWidget(sitting.start)
        sitting._measure_set()
        page = sitting.set_page
        qtbot.addWidget(page)
        typed(qtbot, page, "120 in", "122 in", "119 1/2 in", "121 in")
        offered = [page.choices.item(row) for row in range(page.choices.count())]
        ticked = [each.text() for each in offered if each.checkState() == Qt.CheckState.Checked]
        assert [words.partition(":")[0] for words in ticked] == ["A1 right", "A2 left"]
        page.jobs.click()
        assert "strong" in person.said[-1]  # said above the form, which is asked again
        assert page.said.text() == (
            "Opened: 26-0001 for A1 right, 26-0002 for A2 left. Each goes on from the first page."
        )
        own = [
            ("A1 right", "right", "A1", "122 in under 10.0 lbf"),
            ("A2 left", "left", "A2", "119 1/2 in under 10.0 lbf"),
        ]
        for job, (title, side, number, removed) in zip(("26-0001", "26-0002"), own, strict=True):
            by_hand = given | {"title": title, "side": side, "number": number, "line.removed": removed}
            plan = tmp_path / "plans" / f"{title.replace(' ', '-')}.toml"
            again, problems = begin_job(archive, None, plan, by_hand)
            assert problems == {}
            first, second = (job_state(archive, each).opened for each in (job, again))
            assert replace(first, job=again) == second
            assert bench_of(archive, None, job, "lbf", "imperial").step.key == "cause"
        page.close()
        qtbot.addWidget(sitting.start)
        rows = [sitting.start.jobs.item(row).text() for row in range(sitting.start.jobs.count())]
        assert rows[0].startswith("26-0001  A1 right\nTeasel 190")
        sitting.close()
        sitting.start.close()


def test_a_plan_from_a_template_with_trials_stands_in_any_folder(tmp_path):
    """Trials that the template names by their file are written into the plan, which is opened from another folder."""
    (tmp_path / "ours.csv").write_text("trap,shortening\n5 in,3/8 in\n6 in,7/16 in\n4 in,1/4 in\n")
    template = tmp_path / "template.toml"
    template.write_text(TEMPLATE.replace("coefficient = 0.06", 'trials = "ours.csv"'))
    found = check(load_line_table("x", "line,side,length\nA1,L,3 m\nA1,R,3.1 m\n"), Fraction(1000), Fraction(1000))
    (path,) = set_app.write_plans(found, found.mending.remake, template, tmp_path / "elsewhere")
    assert load_plan(path).shrinkage.trials == load_plan(template).shrinkage.trials
    assert load_plan(path).shrinkage.trials


def test_the_first_page_leads_there_and_back(qtbot, tmp_path, monkeypatch):
    """Without a station file the first page offers to measure a set, and stands again when that is closed."""
    table = tmp_path / "teasel.csv"
    table.write_text(CHART)
    answers = {"table": str(table), "tolerance": "1/2 in", "tilt": "1/2 in", "pull": ""}
    monkeypatch.setattr("station.bench_app.ask", lambda *_: answers)
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        sitting = Sitting(None, lambda: archive, "dark", "imperial", "lbf")
        sitting.show()
        first = sitting.start
        qtbot.addWidget(first)
        assert [button.text() for button in first.action_buttons] == [
            "Set up a scale",
            "Scale and pedal",
            "Measure a line set",
            "Archive",
        ]
        first.action_buttons[2].click()
        page = sitting.set_page
        qtbot.addWidget(page)
        assert page.isVisible()
        assert not first.isVisible()
        typed(qtbot, page, "120 in")
        page.close()
        assert sitting.start is not first
        assert sitting.start.isVisible()
        qtbot.addWidget(sitting.start)
        sitting.close()
        sitting.start.close()
