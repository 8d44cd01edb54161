"""`marks`, `adjust`, `shrinkage` and `braid` as a person calls them."""

import json
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from click.testing import CliRunner

from station.cli import lines
from station.faults import is_fault

INCH = 0.0254
PLAN = "config/jobs/one-cascade.toml"


def called(command, *arguments):
    """Call a command; give its exit status, what it printed and what it complained of."""
    result = CliRunner().invoke(getattr(lines, command), arguments, standalone_mode=False)
    if result.exception is not None:
        assert is_fault(result.exception) or hasattr(result.exception, "format_message"), result.exception
        fault = result.exception
        return 2, result.stdout, fault.format_message() if hasattr(fault, "format_message") else str(fault)
    return result.return_value, result.stdout, result.stderr


def answered(command, *arguments):
    """Call a command for its JSON; give its exit status and the one document it printed."""
    status, out, _ = called(command, *arguments, "--json")
    assert out.count("\n") == 1
    return status, json.loads(out)


class TestMarks:
    """`fidbench marks`."""

    def test_answer(self):
        """The JSON has every key that is promised, in SI units."""
        status, answer = answered("marks", PLAN)
        assert status == 0
        assert answer["order"] == ["A link end", "B into A", "B canopy end", "A canopy end"]
        assert [step["trap"] for step in answer["steps"]] == answer["order"]
        for step in answer["steps"]:
            assert {"trap", "host", "guest", "trap_m", "shortening_m", "shortening_95_m", "marks"} <= set(step)
            assert {"running_end_marks_m", "sewing"} <= set(step)
            assert [set(mark) for mark in step["marks"]] == [{"name", "line", "offset_m", "from_link_end_m"}] * 2
            assert set(step["sewing"]) == {"kind", "from_entry_m", "length_m", "stitches"}
        joint = answer["steps"][1]
        assert joint["marks"][0] == {
            "name": "entry",
            "line": "A",
            "offset_m": pytest.approx(5 / 16 * INCH),
            "from_link_end_m": pytest.approx(48.3125 * INCH),
        }
        assert joint["running_end_marks_m"] == [pytest.approx(5 * INCH), None]
        assert joint["sewing"]["stitches"] == 42
        a, b = answer["lines"]
        assert a["name"] == "A"
        assert a["cut_length_m"] == pytest.approx(141.4375 * INCH)
        assert (a["leave_long_m"], b["leave_long_m"]) == pytest.approx((5 / 16 * INCH, 5 / 16 * INCH))
        assert a["equal_pull_n"] == pytest.approx(0.25 * 0.5 * 10_000 / 120 * 4.4482216152605)
        assert b["equal_pull_n"] == pytest.approx(0.25 * 0.5 * 10_000 / 75 * 4.4482216152605)
        assert 0.99 < a["probability_in_tolerance"] <= 1
        assert a["standard_uncertainty_m"] < a["standard_uncertainty_closed_first_m"]
        assert answer["warnings"] == []

    def test_a_refusal_in_metric(self, tmp_path):
        """With --metric a plan is refused in millimetres."""
        path = tmp_path / "plan.toml"
        path.write_text(Path(PLAN).read_text(encoding="utf-8").replace('"48 in"', '"130 in"'), encoding="utf-8")
        status, _, said = called("marks", str(path), "--metric")
        assert (status, "3302 mm" in said, "3023 mm" in said) == (2, True, True)

    def test_what_is_not_given_is_null_and_named(self, tmp_path):
        """Without its length and stiffness a line has no distances, no cut length and no equal pull, and it says so."""
        text = Path(PLAN).read_text(encoding="utf-8")
        bare = re.sub(r'(?m)^(length = "75 in"|stiffness = .*)$', "", text)
        path = tmp_path / "plan.toml"
        path.write_text(bare, encoding="utf-8")
        status, answer = answered("marks", str(path))
        b = answer["lines"][1]
        assert (status, b["cut_length_m"], b["equal_pull_n"]) == (0, None, None)
        assert b["cut_longer_than_old_m"] == pytest.approx(19.5625 * INCH)
        assert [mark["from_link_end_m"] for mark in answer["steps"][2]["marks"]] == [None, None]
        said = called("marks", str(path))[1]
        assert "Mind: length is not given for B" in said
        assert "Mind: stiffness is not given for A, B" in said
        assert "B: 19 9/16 in longer than the old one" in said
        assert "how equal is not known" in said
        assert "length is not given" in called("marks", str(path), "--json")[2]

    def test_without_any_error_given_nobody_knows(self, tmp_path):
        """Where no error is given the text and the sheet say that how likely a line fits is not known."""
        text = re.sub(r"(?m)^(comparing|mark|eye|standard)_uncertainty.*$", "", Path(PLAN).read_text(encoding="utf-8"))
        path, sheet = tmp_path / "plan.toml", tmp_path / "sheet.svg"
        path.write_text(text, encoding="utf-8")
        out = called("marks", str(path), "--drawing", str(sheet))[1]
        assert "A: pulls both from 9.0 lbf to 12.0 lbf; within 1/2 in at the first try not known" in out
        assert "not known" in list(ET.parse(sheet).getroot().itertext())  # noqa: S314 our own picture
        assert "%" not in out

    @pytest.mark.parametrize("plan", [PLAN, "config/jobs/lower-control.toml"])
    def test_metric_leaves_no_inch_and_no_pound(self, plan, tmp_path):
        """Text and sheet of a plan in millimetres and newtons hold neither an inch nor a pound."""
        sheet = tmp_path / "plan.svg"
        out = called("marks", plan, "--metric", "--drawing", str(sheet))[1]
        for text in (out, sheet.read_text()):
            assert not re.findall(r"\d (?:in|lbf)\b", text)
            assert re.search(r"\d mm\b", text)
            assert re.search(r"\d N\b", text)

    def test_an_equal_pull_wider_than_the_pulls_window_gives_the_window(self):
        """Where the plan would allow a difference wider than the window of the pull, the text gives the window."""
        _, answer = answered("marks", PLAN)
        assert answer["lines"][0]["equal_pull_n"] > 0.3 * 44.48
        assert "A: pulls both from 9.0 lbf to 12.0 lbf;" in called("marks", PLAN)[1]

    def test_said(self):
        """The text says where to mark, toward which end, how long to leave the line, and whose word comes first."""
        status, out, _ = called("marks", PLAN)
        assert status == 0
        assert "B enters 5/16 in past the opposite number's, toward the canopy; 48 5/16 in from A's link end" in out
        assert "70 in from where B enters A" in out
        assert "leave A 5/16 in long, then trap" in out
        assert "A: 141 7/16 in, 21 7/16 in longer than the old one" in out
        assert "mark 5 in and 8 in from the free end" in out
        assert "The maker's instructions, local rules and licensed practice come before every number here." in out
        assert "Never wrap line round a hand or finger." in out

    def test_said_in_millimetres(self):
        """With --metric every length is in millimetres."""
        _, out, _ = called("marks", PLAN, "--metric")
        assert "A: 3593 mm, 545 mm longer than the old one" in out
        assert "8 mm past the opposite number's" in out

    def test_a_lower_control_line(self):
        """The example's brake loop is a step, its leg the running end; the toggle's mark goes with the closing one."""
        _, answer = answered("marks", "config/jobs/lower-control.toml")
        assert answer["order"] == [
            "lower control link end",
            "lower control brake loop above",
            "lower control canopy end",
        ]
        loop = answer["steps"][1]
        assert (loop["end"], loop["leg"], loop["running_end_marks_m"]) == ("loop", "running end", [4 * INCH, None])
        assert [mark["from_link_end_m"] for mark in loop["marks"]] == pytest.approx([19.5 * INCH, 23.75 * INCH])
        (line,) = answer["lines"]
        assert line["marks"] == [
            {"name": "toggle", "line": "lower control", "offset_m": 0.0, "from_link_end_m": pytest.approx(60 * INCH)}
        ]
        assert line["loop_pieces_m"] == {}
        out = called("marks", "config/jobs/lower-control.toml")[1]
        assert "mark 22 1/2 in and 24 1/2 in from the free end" in out
        assert "there the running end comes out again, for the loop" in out
        assert "lower control's running end enters level with the opposite number's; 19 1/2 in from" in out
        assert "mark toggle: level with the opposite number's; 60 in from lower control's link end" in out

    def test_a_leg_of_its_own_piece(self, tmp_path):
        """A loop's leg of its own piece is cut apart, and the sheet and the text say how long."""
        text = Path("config/jobs/lower-control.toml").read_text(encoding="utf-8")
        path, sheet = tmp_path / "plan.toml", tmp_path / "sheet.svg"
        path.write_text(text.replace(', leg = "running end"', "").replace('at = "18 in"', 'at = "30 in"'), "utf-8")
        _, out, _ = called("marks", str(path), "--drawing", str(sheet))
        leg = "a leg for lower control's brake loop: 9 1/2 in, tapered at both ends"
        assert leg in out
        assert "the leg: mark 4 in from the free end" in out
        assert leg in " ".join(ET.parse(sheet).getroot().itertext())  # noqa: S314 our own picture

    def test_where_the_allowance_comes_from(self, tmp_path):
        """Every step names its source, in JSON and in words; trials are those of the line's lot."""
        assert {step["source"] for step in answered("marks", PLAN)[1]["steps"]} == {"typed in"}
        text = Path(PLAN).read_text(encoding="utf-8").replace("coefficient = 0.0625", 'trials = "trials.csv"')
        text = re.sub(r"(?m)^standard_uncertainty.*$", "", text).replace('name = "A"', 'name = "A"\nlot = "L2"')
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
        rows = [f"{trap} in,{k * trap} in,{lot}" for lot, k in (("L1", 0.05), ("L2", 0.06)) for trap in (4, 5, 6)]
        (tmp_path / "trials.csv").write_text("\n".join(["trap,shortening,lot", *rows, ""]), encoding="utf-8")
        _, answer = answered("marks", str(tmp_path / "plan.toml"))
        found = {
            step["trap"]: (step["source"], round(step["shortening_m"] / step["trap_m"], 6)) for step in answer["steps"]
        }
        assert found["A link end"] == ("3 trials of lot L2 in trials.csv", 0.06)
        assert found["B canopy end"][0] == "6 trials in trials.csv"
        out = called("marks", str(tmp_path / "plan.toml"))[1]
        assert "Shortening: 3 trials of lot L2 in trials.csv, for A link end, B into A, A canopy end; 6 trials" in out
        assert "Mind: trials of different lots or guests are counted together" in out

    def test_the_one_improvement(self, tmp_path):
        """What would raise the probability most is named, with what it would come to."""
        text = Path(PLAN).read_text(encoding="utf-8").replace('tolerance = "1/2 in"', 'tolerance = "1/16 in"')
        (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
        _, answer = answered("marks", str(tmp_path / "plan.toml"))
        line = answer["lines"][0]
        left_m = math.hypot(line["budget_m"]["mark"], line["budget_m"]["eye"], line["budget_m"]["comparing"])
        assert line["largest_improvement"] == "shortening"
        assert line["probability_improved"] == pytest.approx(math.erf(INCH / 16 / left_m / math.sqrt(2)))
        out = called("marks", str(tmp_path / "plan.toml"))[1]
        assert "at the first try 71 %; trials of the shortening would help most, to 95 % at best" in out

    def test_drawing(self, tmp_path):
        """With --drawing the sheet is written as SVG, in either look."""
        for options in ((), ("--dark", "--mirror")):
            path = tmp_path / "sheet.svg"
            assert called("marks", PLAN, "--drawing", str(path), *options)[0] == 0
            assert ET.parse(path).getroot().tag.endswith("svg")  # noqa: S314 our own picture

    def test_a_drawing_that_cannot_be_written(self, tmp_path):
        """A drawing that cannot be written is an error with its path."""
        path = tmp_path / "none" / "sheet.svg"
        status, _, said = called("marks", PLAN, "--drawing", str(path))
        assert status == 2
        assert str(path) in said

    def test_a_plan_that_cannot_be_worked(self, tmp_path):
        """What nobody could work is refused by file, line, trap and numbers, with status 2."""
        path = tmp_path / "plan.toml"
        path.write_text(Path(PLAN).read_text(encoding="utf-8").replace('at = "48 in"', 'at = "8 in"'), encoding="utf-8")
        status, out, said = called("marks", str(path))
        assert (status, out) == (2, "")
        assert all(part in said for part in (str(path), "'A'", "'B into A'", "'A link end'", "3 in", "6 1/2 in"))

    def test_a_plan_that_is_not_there(self, tmp_path):
        """A missing file is named."""
        status, _, said = called("marks", str(tmp_path / "none.toml"))
        assert status == 2
        assert "none.toml" in said


class TestAdjust:
    """`fidbench adjust`."""

    @pytest.mark.parametrize(
        ("residual", "action", "status"),
        [
            ("+3/16 in", "take-in", 0),
            ("-1/4 in", "let-out", 0),
            ("0 in", "leave", 0),
            ("+0.015 in", "leave", 0),
            ("+1/2 in", "take-in", 0),
            ("+9/16 in", "take-in", 1),
            ("-20 mm", "let-out", 1),
        ],
    )
    def test_answer(self, residual, action, status):
        """The action, and status 1 where the line is out of tolerance as it is."""
        found, answer = answered("adjust", PLAN, "--line", "A", "--residual", residual)
        assert (found, answer["action"]) == (status, action)
        assert set(answer) >= {"action", "move_m", "trap_after_m", "warnings"}
        assert answer["move_m"] >= 0

    def test_said(self):
        """The text says how much, which way, and what stays trapped."""
        _, out, _ = called("adjust", PLAN, "--line", "A", "--residual", "+3/16 in")
        assert "A is 3/16 in long: take in 3/16 in, drawing the running end down, into the trap" in out
        assert "5 3/16 in stays trapped" in out
        _, out, _ = called("adjust", PLAN, "--line", "A", "--residual", "-4 in")
        assert "out of tolerance" in out
        assert "open the trap" in out
        assert "level: leave it" in called("adjust", PLAN, "--line", "A", "--residual", "0 in")[1]
        assert "under 1/64 in: leave it" in called("adjust", PLAN, "--line", "A", "--residual", "0.01 in")[1]

    def test_at_a_joint(self):
        """At a joint the host is named with what it loses."""
        _, answer = answered("adjust", PLAN, "--line", "B", "--residual", "+1/4 in", "--at", "joint")
        assert answer["changes_m"] == {"B": -INCH / 4, "A": pytest.approx(-INCH / 64)}
        _, out, _ = called("adjust", PLAN, "--line", "B", "--residual", "+1/2 in", "--at", "joint")
        assert "A gets 1/32 in shorter with it" in out

    def test_what_is_trapped_now(self):
        """A second adjustment starts from what is trapped now."""
        _, answer = answered("adjust", PLAN, "--line", "A", "--residual", "-1/4 in", "--trapped", "4 in")
        assert answer["trap_after_m"] == pytest.approx((4 - 0.25 / 1.0625) * INCH)

    @pytest.mark.parametrize(
        ("arguments", "parts"),
        [
            (("--line", "C", "--residual", "1/8 in"), ("'C'", "'A', 'B'")),
            (("--line", "A", "--residual", "1/8"), ("'1/8'",)),
            (("--line", "A", "--residual", "1/8 lbf"), ("'1/8 lbf'",)),
            (("--line", "A", "--residual", "1/8 in", "--at", "joint"), ("ends at the link",)),
            (("--line", "A", "--residual", "1/8 in", "--trapped", "0 in"), ("nothing trapped",)),
            (("--residual", "1/8 in"), ("--line",)),
        ],
    )
    def test_what_is_wrong_is_named(self, arguments, parts):
        """An unknown line and a residual that is no length are refused by name."""
        status, out, said = called("adjust", PLAN, *arguments)
        assert (status, out) == (2, "")
        assert all(part in said for part in parts), said

    @pytest.mark.parametrize("at", ["canopy-end", "joint"])
    def test_more_than_the_trap_can_give(self, at):
        """Where nothing would stay trapped no move is told: the end is made anew, or the line replaced."""
        status, out, _ = called("adjust", PLAN, "--line", "B", "--residual", "-6 in", "--at", at)
        assert (status, "make the end anew, or replace the line" in out) == (1, True)
        assert "stays trapped" not in out
        assert "let out" not in out
        assert "compare again" not in out


class TestShrinkage:
    """`fidbench shrinkage`."""

    @pytest.fixture
    def trials(self, tmp_path):
        """Write seven trials of two lots, one of them off."""
        path = tmp_path / "trials.csv"
        path.write_text(
            "trap,shortening,lot\n5 in,5/16 in,L1\n6 in,0.38 in,L2\n4 in,0.26 in,L2\n5 in,9/16 in,L2\n"
            "6 in,0.37 in,L2\n5 in,0.31 in,L2\n4 in,0.25 in,L1\n",
            encoding="utf-8",
        )
        return str(path)

    def test_answer(self, trials):
        """Every key that is promised; with --trap the allowance and its interval too."""
        status, answer = answered("shrinkage", trials)
        assert status == 0
        keys = {"coefficient", "standard_uncertainty", "degrees_of_freedom", "residual_sd_m", "n", "suspects"}
        assert keys | {"more_trials"} <= set(answer)
        assert (answer["n"], answer["degrees_of_freedom"], answer["suspects"]) == (7, 6, [4])
        assert "allowance_m" not in answer
        _, answer = answered("shrinkage", trials, "--trap", "6 in")
        assert answer["allowance_m"] == pytest.approx(answer["coefficient"] * 6 * INCH)
        assert answer["allowance_95_m"][0] < answer["allowance_m"] < answer["allowance_95_m"][1]

    def test_rows_are_the_files(self, trials):
        """With --lot fewer trials count, and a suspect is still named by its row in the file."""
        _, answer = answered("shrinkage", trials, "--lot", "L2")
        assert (answer["n"], answer["suspects"], answer["warnings"]) == (5, [4], [])

    def test_different_lots_are_warned_of(self, trials):
        """Trials of different lots counted together are named."""
        _, out, _ = called("shrinkage", trials)
        assert "lot L1 around its like; lot L2 around its like" in out
        assert "row 4" in out
        assert "L1" in called("shrinkage", trials, "--json")[2]

    def test_with_a_material(self, trials):
        """A material's first value counts as four degrees of freedom more."""
        _, alone = answered("shrinkage", trials)
        _, upon = answered("shrinkage", trials, "--material", "HMPE 725")
        assert upon["degrees_of_freedom"] == alone["degrees_of_freedom"] + 1 + 4

    def test_with_a_guest_of_another_material(self, trials):
        """The first value is that of the guest named; of a guest nobody knows it is its like's, and it says so."""
        _, like = answered("shrinkage", trials, "--material", "HMPE 725")
        path = Path(trials)
        path.write_text(path.read_text(encoding="utf-8").replace("lot\n", "guest\n"), encoding="utf-8")
        for name in ("polyester 600", "a shoelace"):
            path.write_text(re.sub(r"L[12]|polyester 600", name, path.read_text(encoding="utf-8")), encoding="utf-8")
            status, out, said = called("shrinkage", trials, "--material", "HMPE 725", "--guest", name, "--json")
            assert status == 0
            known = json.loads(out)["coefficient"] == like["coefficient"]
            assert known == ("not known; the first value is that of its like" in said) == (name == "a shoelace")

    def test_trials_of_another_material(self, trials):
        """With --material the trials that name another host do not count."""
        path = Path(trials)
        rows = path.read_text(encoding="utf-8").replace("trap,shortening,lot", "trap,shortening,material")
        path.write_text(rows.replace("L1", "LCP 1000").replace("L2", "HMPE 725"), encoding="utf-8")
        _, answer = answered("shrinkage", trials, "--material", "HMPE 725")
        assert (answer["n"], answer["suspects"], answer["warnings"]) == (5, [4], [])

    def test_plot(self, trials, tmp_path):
        """With --plot the picture is written, the suspect named by its row; where it cannot be, it is said."""
        path = tmp_path / "plot.svg"
        for options in ((), ("--dark", "--metric")):
            assert called("shrinkage", trials, "--lot", "L2", "--plot", str(path), *options)[0] == 0
            texts = list(ET.parse(path).getroot().itertext())  # noqa: S314 our own picture
            assert "row 4" in texts
            assert "trials.csv  ·  lot L2" in texts
        status, _, said = called("shrinkage", trials, "--plot", str(tmp_path / "none" / "plot.svg"))
        assert status == 2
        assert "plot.svg: cannot be written" in said

    def test_no_trial_yet(self, tmp_path):
        """Without trials a material's first value speaks, called a model; without that nothing does."""
        path = tmp_path / "trials.csv"
        path.write_text("trap,shortening\n", encoding="utf-8")
        assert "a model of the braid" in called("shrinkage", str(path), "--material", "HMPE 725")[1]
        status, _, said = called("shrinkage", str(path))
        assert status == 2
        assert str(path) in said

    def test_one_trial(self, tmp_path):
        """One trial has no uncertainty, and its interval is null."""
        path = tmp_path / "trials.csv"
        path.write_text("trap,shortening\n5 in,5/16 in\n", encoding="utf-8")
        _, answer = answered("shrinkage", str(path), "--trap", "5 in")
        assert [answer[key] for key in ("standard_uncertainty", "residual_sd_m", "allowance_95_m", "more_trials")] == [
            None
        ] * 4
        assert "how sure is not known" in called("shrinkage", str(path))[1]

    @pytest.mark.parametrize(
        ("arguments", "part"),
        [
            (("--material", "HMPE 752"), "the nearest known is 'HMPE 725'"),
            (("--lot", "L9"), "found lot L1 around its like; lot L2 around its like"),
            (("--trap", "0 in"), "above zero"),
            (("--trap", "6"), "'6'"),
        ],
    )
    def test_what_is_wrong_is_named(self, trials, arguments, part):
        """An unknown material or lot, and a trap that is no length, are refused by name."""
        status, out, said = called("shrinkage", trials, *arguments)
        assert (status, out) == (2, "")
        assert part in said


class TestBraid:
    """`fidbench braid`."""

    def test_answer(self):
        """Both packings, the first value and its uncertainty, by a formula written out again."""
        status, answer = answered("braid", "--angle", "12 deg")
        assert status == 0
        sine = math.sin(math.radians(12))
        for key, swelling in (("thin_tube", math.sqrt(2)), ("closed_disc", math.sqrt(8) - 1)):
            after = math.asin(swelling * sine)
            assert answer[key]["shortening"] == pytest.approx(math.cos(math.radians(12)) / math.cos(after) - 1)
            assert answer[key]["angle_after_deg"] == pytest.approx(math.degrees(after))
            assert answer[key]["locked"] is False
        both = [answer[key]["shortening"] for key in ("thin_tube", "closed_disc")]
        assert answer["first_value"] == pytest.approx(sum(both) / 2)
        assert answer["standard_uncertainty"] == pytest.approx((both[1] - both[0]) / math.sqrt(12))

    def test_locked(self):
        """One packing locked: no first value; both: status 1 as well."""
        status, answer = answered("braid", "--angle", "30 deg")
        assert (status, answer["closed_disc"]["locked"], answer["first_value"]) == (0, True, None)
        assert answer["closed_disc"]["shortening"] is None
        assert answer["closed_disc"]["angle_after_deg"] is None
        status, answer = answered("braid", "--angle", "40 deg")
        assert (status, answer["thin_tube"]["locked"], answer["standard_uncertainty"]) == (1, True, None)
        assert "make trials" in called("braid", "--angle", "40 deg")[1]

    def test_from_what_can_be_seen(self):
        """Flat width, picks and carriers give the angle."""
        seen = ("--flat-width", "0.1 in", "--picks", "10", "--carriers", "16")
        _, answer = answered("braid", *seen)
        assert answer["angle_deg"] == pytest.approx(math.degrees(math.atan(0.25)))

    def test_metric(self):
        """With --metric the example is a trap of 150 mm: at 12 deg it takes 0.0405 of it, 6 mm."""
        assert "6 mm for a trap of 150 mm" in called("braid", "--angle", "12 deg", "--metric")[1]

    def test_said(self):
        """The text calls it a model."""
        _, out, _ = called("braid", "--angle", "15 deg")
        assert re.search(r"first value 0\.0\d+, give or take 0\.0\d+", out)
        assert "a model, not a measurement" in out

    @pytest.mark.parametrize(
        ("arguments", "part"),
        [
            ((), "--angle"),
            (("--angle", "12 deg", "--picks", "9"), "not both"),
            (("--flat-width", "2 mm", "--picks", "9"), "--carriers"),
            (("--angle", "90 deg"), "90"),
            (("--angle", "-5 deg"), "-5"),
            (("--angle", "12"), "'12'"),
            (("--angle", "12 deg", "--area-ratio", "0"), "0.0"),
            (("--angle", "12 deg", "--area-ratio", "nan"), "nan"),
            (("--flat-width", "2 mm", "--picks", "0", "--carriers", "16"), "above 0"),
            (("--flat-width", "2 mm", "--picks", "9", "--carriers", "15"), "found 15 carriers; half"),
        ],
    )
    def test_what_is_wrong_is_named(self, arguments, part):
        """An angle, ratio or sight that is none is refused with what was found."""
        status, out, said = called("braid", *arguments)
        assert (status, out) == (2, "")
        assert part in said
