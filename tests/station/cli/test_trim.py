import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from station import job_app
from station.filing import job_state
from station.records.archive import Archive
from tests.station.cli.commands import run

INCH = 0.0254
GOOD = "line,side,length,chart\nA1,L,120 in,120 in\nA1,R,120 1/4 in,120 in\nB1,L,110 in,110 in\nB1,R,110 in,110 in\n"
BAD = "line,side,length,chart\n" + "".join(
    f"A{n},{side},{'122 in' if (n, side) == (2, 'R') else '10 ft 0 in'},120 in\n" for n in (1, 2, 3) for side in "LR"
)


def table(tmp_path, text):
    """Write a table and give its path."""
    path = tmp_path / "set.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_set_in_trim_ends_with_0(tmp_path, capfd):
    """A set within the tolerance is in trim: status 0, nothing to remake, and the assumed tolerance is said."""
    path = table(tmp_path, GOOD)
    ran = run(capfd, "trim", path)
    assert ran.status == 0
    assert ran.out.startswith(
        "In trim.\nPull while measuring not stated; tolerance 1/2 in, tilt 1/2 in; no --tolerance"
    )
    assert "Fewest" not in ran.out
    answer = run(capfd, "trim", path, "--json").json
    assert (answer["in_trim"], answer["remake"], answer["out_of_tolerance"]) == (True, [], [])
    assert answer["tilts"] == [{"groups": ["A", "B"], "tilt_m": pytest.approx(INCH / 8), "in_tolerance": True}]
    assert "tilt: A is 1/8 in long against B" in ran.out


def test_a_set_without_its_chart_is_called_no_more_than_level(tmp_path, capfd):
    """Left against right says nothing of the groups, and where a chart length is missing that is said."""
    bare = GOOD.replace(",120 in\n", ",\n").replace(",110 in\n", ",\n")
    assert run(capfd, "trim", table(tmp_path, bare)).out.startswith(
        "In trim, left against right; without a chart nothing is known of its groups.\n"
    )
    part = GOOD.replace("110 in,110 in", "110 in,")
    assert run(capfd, "trim", table(tmp_path, part)).out.startswith(
        "In trim; of group B, where a chart length is missing, left against right alone.\n"
    )


def test_the_answers_keys_and_values(tmp_path, capfd):
    """A line 2 in long is named with its side, to chart and its group's mean error, and the status is 1."""
    ran = run(capfd, "trim", table(tmp_path, BAD), "--json", "--pull", "10 lbf", "--tolerance", "1/2 in")
    assert ran.status == 1
    answer = ran.json
    assert answer["remake"] == ["A2 R"]
    assert answer["remake_lengths_m"] == [pytest.approx((120 + 1 / 3) * INCH)]
    assert answer["out_of_tolerance"] == ["A2"]
    assert answer["pull_n"] == pytest.approx(44.482216)
    line = answer["lines"][1]
    assert line["flags"] == ["difference", "right error"]
    assert line == {
        "line": "A2",
        "left_m": pytest.approx(120 * INCH),
        "right_m": pytest.approx(122 * INCH),
        "difference_m": pytest.approx(-2 * INCH),
        "left_error_m": 0.0,
        "right_error_m": pytest.approx(2 * INCH),
        "flags": line["flags"],
    }
    assert answer["groups"] == [
        {
            "group": "A",
            "mean_error_m": pytest.approx(INCH / 3),
            "scatter_m": pytest.approx(INCH * (4 * 5 / 6 / 5) ** 0.5),
        }
    ]


def test_the_tolerances_given_are_those_used(tmp_path, capfd):
    """The same set is in trim with a tolerance of 2 in, and out with a tilt of 1/16 in."""
    assert run(capfd, "trim", table(tmp_path, BAD), "--tolerance", "2 in").status == 0
    ran = run(capfd, "trim", table(tmp_path, GOOD), "--tilt", "1/16 in", "--json")
    assert (ran.status, ran.json["tilts"][0]["in_tolerance"]) == (1, False)


def test_one_side_alone_is_not_known_good(tmp_path, capfd):
    """A line without its opposite number: status 1, no difference, and words that say what to do."""
    path = table(tmp_path, "line,side,length\nA1,L,120 in\n")
    ran = run(capfd, "trim", path)
    assert ran.status == 1
    assert "Not known to be in trim: A1 measured on one side alone." in ran.out
    assert "measure the other side" in ran.out
    answer = run(capfd, "trim", path, "--json").json
    assert (answer["lines"][0]["difference_m"], answer["remake"]) == (None, None)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("A1,L,120\n", ["row 1 (line 2): length: found '120'", '"6 1/2 in"']),
        ("A1,L,120 in\nA1,L,121 in\n", ["row 2", "A1 L stands in row 1 already"]),
        ("A1,l,120 in\n", ["row 1", "found 'l', expected L or R or left or right"]),
        ("A1,L,3,048 m\n", ["row 1", "found 4 cells, expected 3", "decimal is written with a point"]),
        ("1,L,120 in\n", ["row 1", "expected the group's letters"]),
        ("A1,L,0 in\nA2,L,nan in\n", ["row 1", "above zero", "row 2", "nan"]),
        ("A1,L,30 lbf\n", ["row 1", "lbf is a unit of force"]),
        ("A1,L,120 in\na2,R,120 in\n", ["row 2", "found group 'a', which is 'A' in row 1"]),
        ("", ["has no rows"]),
    ],
)
def test_bad_rows_are_named(tmp_path, capfd, rows, said):
    """What cannot be read ends with status 2 and names every bad row, what was found and what was expected."""
    ran = run(capfd, "trim", table(tmp_path, f"line,side,length\n{rows}"))
    assert (ran.status, ran.out) == (2, "")
    assert [each for each in said if each not in ran.err] == []
    assert "Traceback" not in ran.err


def test_a_side_may_be_written_out(tmp_path, capfd):
    """A table with left and right is read as the same one with L and R."""
    written = re.sub(",([LR]),", lambda side: {"L": ",left,", "R": ",right,"}[side[1]], GOOD)
    assert written.count("left") == written.count("right") == GOOD.count(",L,") > 0
    short = run(capfd, "trim", table(tmp_path, GOOD), "--json").json
    assert run(capfd, "trim", table(tmp_path, written), "--json").json == short


def test_bad_columns_charts_and_options_are_named(tmp_path, capfd):
    """An unknown column, a chart on one side alone and tolerances of no size end with status 2, in words."""
    one_chart = "line,side,length,chart\nA1,L,120 in,120 in\nA1,R,120 in,\n"
    for text, words, said in (
        ("line,side,lenght\nA1,L,1 m\n", [], "nearest known is 'length'"),
        (one_chart, [], "row 2 (line 3): chart: is empty, and the other side has one"),
        (GOOD, ["--tolerance", "0 in"], "--tolerance"),
        (GOOD, ["--tilt", "-1 in"], "--tilt"),
        (GOOD, ["--tolerance", "1/2"], "found '1/2'"),
        (GOOD, ["--tolerance", "300 m"], "100 m"),
        (GOOD, ["--pull", "10 lb"], "write 10 lbf"),
        (GOOD, ["--drawing", str(tmp_path / "no" / "x.svg")], "cannot be written"),
    ):
        ran = run(capfd, "trim", table(tmp_path, text), *words)
        assert ran.status == 2, words
        assert said in ran.err
    assert run(capfd, "trim", tmp_path / "none.csv").status == 2


def test_a_slip_of_the_pen_is_no_drift(tmp_path, capfd):
    """A length ten times its chart, or far from its opposite number, is refused with both, not charged to its group."""
    ran = run(capfd, "trim", table(tmp_path, GOOD.replace("A1,R,120 1/4 in", "A1,R,1200 in")))
    assert (ran.status, ran.out) == (2, "")
    assert "row 2 (line 3): length: found '1200 in', and its chart says '120 in': more than a tenth apart" in ran.err
    ran = run(capfd, "trim", table(tmp_path, "line,side,length\nA1,R,12 in\nA1,L,120 in\n"))
    assert "row 1 (line 2): length: found '12 in', and its left is '120 in': more than a tenth apart" in ran.err


def test_drawing_and_page_are_written(tmp_path, capfd):
    """The drawing is a picture and the page a PDF of the same bytes each time; millimetres stand where asked for."""
    path, drawing, page = table(tmp_path, BAD), tmp_path / "set.svg", tmp_path / "set.pdf"
    ran = run(capfd, "trim", path, "--metric", "--drawing", drawing, "--report", page, "--pull", "10 lbf")
    assert ran.status == 1
    assert "A2 right: make it 3056 mm" in ran.out
    assert "measured at 44.5 N" in drawing.read_text()
    first = page.read_bytes()
    run(capfd, "trim", path, "--metric", "--drawing", drawing, "--report", page, "--pull", "10 lbf")
    assert page.read_bytes() == first
    assert first.startswith(b"%PDF-")


TEMPLATE = (
    '[plan]\nname = "Teasel 190"\npull = "10 lbf"\ntolerance = "1/2 in"\n[shrinkage]\ncoefficient = 0.06\n'
    '[[line]]\nname = "main"\nlink_end = { loop = "1 in", trap = "5 in" }\n'
    'canopy_end = { loop = "1 in", trap = "5 in" }\n'
)
ANSWERS = (
    '[job]\nhold = "main-hmpe"\n[canopy]\nkind = "main"\ntype = "Teasel 190"\n'
    '[people]\nworker = "Ansa Velling"\nauthority = "a test"\n'
)


@pytest.fixture
def files(tmp_path, monkeypatch):
    """Give the template and the answers as files, and where the jobs go, as options; on one day."""
    monkeypatch.setattr(job_app, "wall_clock", lambda: datetime(2026, 3, 4, 9, tzinfo=UTC))
    template, answers = tmp_path / "template.toml", tmp_path / "job.toml"
    template.write_text(TEMPLATE)
    answers.write_text(ANSWERS)
    return ["--template", template, "--job", answers, "--archive", tmp_path / "a.sqlite"]


def test_a_job_is_opened_for_each_line_to_remake(tmp_path, capfd, files):
    """The fewest lines, or those named, get a plan and a job that knows line, side and what was taken off."""
    ran = run(capfd, "trim", table(tmp_path, BAD), "--pull", "10 lbf", *files)
    assert (ran.status, "Job 26-0001: A2 right" in ran.out) == (1, True)
    named = ("--line", "A1 left", "--line", "a2 r", "--line", "A1 L")
    answer = run(capfd, "trim", table(tmp_path, BAD), *named, "--json", *files).json
    assert [Path(plan).name for plan in answer["plans"]] == ["A1-left.toml", "A2-right.toml"]
    with Archive.open(tmp_path / "a.sqlite") as archive:
        first, *rest = (job_state(archive, job).opened for job in archive.jobs())
    assert [each.job for each in rest] == answer["jobs"]
    assert (first.title, first.side, first.number) == ("A2 right", "right", "A2")
    assert first.line == {"removed": "122 in under 10.0 lbf"}
    assert first.measuring == {"pre_stretch": "main-hmpe"}
    assert first.people == {"worker": "Ansa Velling", "authority": "a test"}
    assert first.plan_toml == (tmp_path / "set-plans" / "A2-right.toml").read_text()


def test_where_nothing_is_to_be_remade_nothing_is_opened(tmp_path, capfd, files):
    """A set in trim writes no plan and makes no archive, and says so."""
    ran = run(capfd, "trim", table(tmp_path, GOOD), *files)
    assert ran.status == 0
    assert ran.out.endswith("No line to remake is named, so no plan was written; choose with --line.\n")
    assert {path.name for path in tmp_path.iterdir()} == {"set.csv", "template.toml", "job.toml"}


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('hold = "main-hmpe"', 'hold = "nope"'), "[job] hold: found 'nope', expected one of main-hmpe"),
        (('hold = "main-hmpe"', 'hold = "round-reserve"'), "rated strength, which is not known"),
        (('hold = "main-hmpe"\n', ""), "[job] hold: is missing and is required"),
        (('worker = "Ansa Velling"', 'worker = " "'), "[people] worker: is empty and is required"),
        (('worker = "Ansa Velling"', "worker = 5"), "[people] worker: found 5, expected text"),
        (("authority", "lot = 'x'\nauthority"), "[people] has an unknown key 'lot'"),
    ],
)
def test_what_jobs_are_opened_with_is_read_strictly(tmp_path, capfd, files, change, said):
    """An answer that is missing, unknown or no such hold is named with file, table and key, and no job is opened."""
    files[3].write_text(ANSWERS.replace(*change))
    ran = run(capfd, "trim", table(tmp_path, BAD), *files)
    assert (ran.status, ran.out) == (2, "")
    assert said in ran.err
    with Archive.open(tmp_path / "a.sqlite", bench="Bench", create=True) as archive:
        assert not archive.jobs()


def test_options_that_go_together_are_asked_for(tmp_path, capfd, files):
    """A line without a template, a job without an archive, and a line that was not measured are refused."""
    for words, said in (
        (["--line", "A1 left"], "--template PLAN.toml"),
        (files[:4], "--archive A"),
        ([*files[:2], "--line", "A9 left"], "of those measured: A1 left"),
    ):
        ran = run(capfd, "trim", table(tmp_path, BAD), *words)
        assert (ran.status, said in ran.err) == (2, True)
    bare = table(tmp_path, "line,side,length\nA1,L,120 in\n")
    assert "measure the other side first" in run(capfd, "trim", bare, *files, "--line", "A1 left").err


def test_json_is_one_document(tmp_path, capfd):
    """One JSON document is printed, whatever was found."""
    for text in (GOOD, BAD):
        out = run(capfd, "trim", table(tmp_path, text), "--json").out
        assert isinstance(json.loads(out), dict)
        assert out.count("\n") == 1


def test_what_is_out_never_reads_as_the_tolerance(tmp_path, capfd):
    """A difference a hair over the tolerance is said to be over it, not to be it."""
    ran = run(capfd, "trim", table(tmp_path, "line,side,length\nA1,L,120.501 in\nA1,R,120 in\n"))
    assert ran.status == 1
    assert "left over 1/2 in longer" in ran.out
