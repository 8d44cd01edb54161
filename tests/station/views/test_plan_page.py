from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from station.settings.materials import materials
from station.settings.plan import load_plan, read_plan
from station.settings.tables import Table
from station.units import METRIC
from station.views.plan_page import PlanPage, plan_shelf
from tests.station.views.pages import PRESS, shown
from tests.station.views.test_dialogs import errors

pytestmark = pytest.mark.usefixtures("own_folder")

MATERIAL = next(iter(materials()))
JOBS = Path("config/jobs")
WHOLE = {
    "plan.name": "Rear C",
    "plan.pull": "10 lbf",
    "plan.tolerance": "1/2 in",
    "shrinkage.coefficient": "0.0625",
    "shrinkage.standard_uncertainty": "0.01",
}
LINE = {"line.0.link_end.loop": "1 in", "line.0.link_end.trap": "5 in", "line.0.canopy_end.trap": "5 in"}


@pytest.fixture
def page(qtbot: QtBot, tmp_path: Path) -> PlanPage:
    """Show the page on an empty shop's shelf."""
    page = PlanPage("dark", plan_shelf(tmp_path), lambda _: None, materials=tuple(materials()))
    shown(qtbot, page)
    return page


def type_in(page: PlanPage, part: int, answers: Mapping[str, str]) -> None:
    """Turn to a part of the plan and type what is given."""
    page.parts.setCurrentRow(part)
    page.form.fill({**page.form.answers(), **answers})


def begin(page: PlanPage) -> None:
    """Make a plan of one line that can be worked, not kept."""
    page.begin_new()
    type_in(page, 0, WHOLE)
    type_in(page, 1, LINE)


def test_a_plan_is_made_in_the_window(qtbot: QtBot, tmp_path: Path, page: PlanPage) -> None:
    """A plan typed from nothing, with a cascade, a loop in mid-line and a mark, is the one a person would write."""
    begin(page)
    type_in(page, 1, {"line.0.length": "120 in", "line.0.loops.0.name": "brake loop", "line.0.loops.0.at": "18 in"})
    type_in(page, 1, {"line.0.loops.0.loop": "1 in", "line.0.loops.0.trap": "4 in"})
    type_in(page, 1, {"line.0.marks.0.name": "toggle", "line.0.marks.0.at": "100 in"})
    qtbot.mouseClick(page.add_button, PRESS)
    joint = {"line.1.link_end.joins": "A", "line.1.link_end.at": "60 in", "line.1.link_end.trap": "5 in"}
    type_in(page, 2, {**joint, "line.1.canopy_end.trap": "5 in", "line.1.canopy_end.knot": "1 in"})
    type_in(page, 0, {"sewing.kind": "bar-tack", "sewing.length": "1 in", "sewing.stitches": "42"})
    page.work_out()
    assert page.state.text() == "Marks and trap lengths are ready; 5 to mind"
    minded = page.marks.toPlainText().splitlines()[:5]
    assert all(row.startswith("Mind: ") for row in minded)
    qtbot.mouseClick(page.keep_button, PRESS)
    file = tmp_path / "plans/rear-c.toml"
    assert page.said.text() == f"Kept: Rear C, in {file}."
    written = tmp_path / "hand.toml"
    written.write_text("""
[plan]
name = "Rear C"
pull = "10 lbf"
tolerance = "1/2 in"
[shrinkage]
coefficient = 0.0625
standard_uncertainty = 0.01
[sewing]
kind = "bar-tack"
length = "1 in"
stitches = 42
[[line]]
name = "A"
length = "120 in"
link_end = { loop = "1 in", trap = "5 in" }
loops = [{ name = "brake loop", at = "18 in", loop = "1 in", trap = "4 in" }]
marks = [{ name = "toggle", at = "100 in" }]
canopy_end = { trap = "5 in" }
[[line]]
name = "B"
link_end = { joins = "A", at = "60 in", trap = "5 in" }
canopy_end = { trap = "5 in", knot = "1 in" }
""")
    assert {**vars(load_plan(file)), "file": ""} == {**vars(load_plan(written)), "file": ""}


def test_what_follows_is_shown_as_it_is_typed(qtbot: QtBot, page: PlanPage) -> None:
    """A key changes the marks without a button; what cannot be worked takes drawing and numbers away, and says why."""
    page.sheets.setCurrentIndex(1)
    assert page.drawing.isVisible()
    assert "A: 141 7/16 in" in page.marks.toPlainText().replace("\xa0", " ")
    page.parts.setCurrentRow(1)
    length = page.form.inputs["line.0.length"]
    length.setFocus()
    qtbot.keyClick(length, Qt.Key.Key_A, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClicks(length, "130 in")
    qtbot.waitUntil(lambda: "151 7/16" in page.marks.toPlainText().replace("\xa0", " "), timeout=5000)
    qtbot.keyClicks(length, "ch")
    qtbot.waitUntil(lambda: not page.marks.isVisible(), timeout=5000)
    assert (page.drawing.isVisible(), page.state.text()) == (False, "Not ready: no marks yet")
    assert page.why.text().startswith("Finished length: found '130 inch'")
    assert length.hasFocus()


def test_lengths_are_said_in_the_units_of_the_settings(qtbot: QtBot, tmp_path: Path) -> None:
    """In metric units the marks are in millimetres and the pull in newtons."""
    page = PlanPage("light", plan_shelf(tmp_path), lambda _: None, said=METRIC)
    qtbot.addWidget(page)
    assert "mm" in page.marks.toPlainText()
    assert " in\n" not in page.marks.toPlainText().replace("\xa0", " ")


@pytest.mark.parametrize("row", [0, 1])
def test_a_ready_made_plan_copied_is_that_plan(tmp_path: Path, page: PlanPage, row: int) -> None:
    """Copied under another name a plan is as it was, its comments too; the ready-made one keeps its name."""
    page.sheets.setCurrentIndex(row)
    before = page._shelf.sheets()[row]
    assert not page.keep()
    assert errors(page.form) == ["Give your copy a name of its own."]
    page.form.fill({**page.form.answers(), "plan.name": "Ours"})
    assert page.keep()
    ours = load_plan(tmp_path / "plans/ours.toml")
    assert {**vars(ours), "name": "", "file": ""} == {**vars(load_plan(before.path)), "name": "", "file": ""}
    assert "# assumed" in (tmp_path / "plans/ours.toml").read_text()


def test_what_joins_a_line_goes_with_its_name(page: PlanPage) -> None:
    """A line that is called otherwise keeps what joins it; a line taken out leaves the others, and the last stays."""
    page.sheets.setCurrentIndex(1)
    type_in(page, 1, {"line.0.name": "centre A"})
    page.work_out()
    assert page.state.text() == "Marks and trap lengths are ready"
    page.parts.setCurrentRow(2)
    assert page.form.answers()["line.1.link_end.joins"] == "centre A"
    page.drop_line()
    assert page.names == ["centre A"]
    assert not page.drop_button.isEnabled()


@pytest.mark.parametrize(("part", "changes", "said"), [
    (0, {"plan.name": ""}, "This is needed"),
    (0, {"plan.name": "Teasel 190, centre A and B, left"}, "the name of a ready-made one"),
    (0, {"plan.pull": ""}, "is missing"),
    (0, {"plan.pull": "10"}, "expected a force with its unit"),
    (0, {"plan.tolerance": "0 in"}, "expected a length above zero"),
    (0, {"plan.tolerance": "1/2"}, "expected a length with its unit"),
    (0, {"plan.pull_share": "2"}, "expected a share above 0"),
    (0, {"plan.eye_uncertainty": "-1 in"}, "expected a length of zero or more"),
    (0, {"plan.minimum_trap": "6 in"}, "its minimum is 6 in"),
    (0, {"shrinkage.coefficient": "1/16"}, "expected a plain number"),
    (0, {"shrinkage.coefficient": ""}, "is missing"),
    (0, {"shrinkage.material": MATERIAL}, "has one source"),
    (0, {"shrinkage.coefficient": "", "shrinkage.standard_uncertainty": "", "shrinkage.trials": "no.csv"}, "no.csv"),
    (0, {"sewing.length": "1 in"}, "No tack is chosen"),
    (0, {"sewing.kind": "zigzag", "sewing.length": "1 in", "sewing.stitches": "42"}, "stitches per inch"),
    (0, {"sewing.kind": "bar-tack", "sewing.length": "1 in"}, "is missing"),
    (0, {"sewing.kind": "bar-tack", "sewing.length": "6 in", "sewing.stitches": "42"}, "clear of the taper"),
    (1, {"line.0.name": ""}, "is missing"),
    (1, {"line.0.length": "8 in"}, "two traps cannot lie over the same stretch"),
    (1, {"line.0.length": "__import__('os')"}, "expected a length with its unit"),
    (1, {"line.0.stiffness": "stiff"}, "expected a force with its unit"),
    (1, {"line.0.link_end.loop": ""}, "is missing"),
    (1, {"line.0.link_end.loop": "0 in"}, "goes over no link"),
    (1, {"line.0.link_end.at": "4 in"}, "found without joins"),
    (1, {"line.0.link_end.trap": ""}, "is missing"),
    (1, {"line.0.canopy_end.trap": "0 in"}, "it must have a length"),
    (1, {"line.0.canopy_end.knot": "big"}, "expected a length with its unit"),
    (1, {"line.0.loops.0.at": "18 in"}, "is missing"),
    (1, {"line.0.marks.0.name": "toggle"}, "is missing"),
    (1, {"line.0.length": "99 in", "line.0.marks.0.name": "toggle", "line.0.marks.0.at": "100 in"}, "ends at 99 in"),
])  # fmt: skip
def test_each_wrong_entry_of_a_plan_is_said_beside_a_field(
    qtbot: QtBot, tmp_path: Path, page: PlanPage, part: int, changes: dict[str, str], said: str
) -> None:
    """What cannot be used stands in one sentence beside a field, whatever part was shown, and no file is written."""
    begin(page)
    type_in(page, part, changes)
    page.parts.setCurrentRow(1 - part)
    qtbot.mouseClick(page.keep_button, PRESS)
    (found,) = errors(page.form)
    assert said in found
    assert not page.said.isVisible()
    assert not list(tmp_path.glob("plans/*"))


def test_trials_are_named_as_they_lie_from_the_kept_plan(tmp_path: Path, page: PlanPage) -> None:
    """A plan that names the shop's trials is worked out with them while typed, and read with them once kept."""
    (tmp_path / "trials").mkdir()
    rows = "".join(f"6 in,{number} mm\n" for number in (9, 10, 9, 11))
    (tmp_path / "trials/ours.csv").write_text(f"trap,shortening\n{rows}")
    begin(page)
    empty = {"shrinkage.coefficient": "", "shrinkage.standard_uncertainty": ""}
    type_in(page, 0, {**empty, "shrinkage.trials": "../trials/ours.csv"})
    assert page.keep()
    known = load_plan(tmp_path / "plans/rear-c.toml").shrinkage
    assert known is not None
    assert len(known.trials) == 4


def test_a_plan_is_renamed_removed_and_put_back(tmp_path: Path, page: PlanPage) -> None:
    """Another name moves the file and keeps the old one beside it; what is removed is put back by the same button."""
    begin(page)
    assert page.keep()
    type_in(page, 0, {"plan.name": "Rear D"})
    assert page.keep()
    folder = tmp_path / "plans"
    assert sorted(each.name for each in folder.iterdir()) == ["rear-c.toml.old", "rear-d.toml"]
    page.remove_or_put_back()
    assert page.said.text() == f"Removed: Rear D. It is kept as {folder / 'rear-d.toml.old'}."
    assert not any(sheet.own for sheet in page._shelf.sheets())
    page.remove_or_put_back()
    assert page.said.text() == "Put back: Rear D."
    assert sorted(each.name for each in folder.iterdir()) == ["rear-c.toml.old", "rear-d.toml"]
    page.remove_or_put_back()
    (folder / "rear-d.toml").write_text("")
    page.remove_or_put_back()
    assert page.said.text().startswith("Not done: ")
    assert (folder / "rear-d.toml.old").read_text().startswith("[plan]")


def test_a_table_that_has_no_field_stays_as_it_is_written(tmp_path: Path, page: PlanPage) -> None:
    """What a person wrote by hand and no field shows, an end's own shortening or trials in the plan, stays."""
    file = tmp_path / "plans/ours.toml"
    file.parent.mkdir()
    text = (JOBS / "one-cascade.toml").read_text().replace("Teasel 190, centre A and B, left", "Ours")
    text = text.replace(
        'trap = "5 in" }\ncanopy_end = { loop',
        'trap = "5 in", shrinkage = { coefficient = 0.05 } }\ncanopy_end = { loop',
    )
    file.write_text(text)
    before = load_plan(file)
    page.show_sheets(file)
    type_in(page, 1, {"line.0.length": "121 in"})
    assert page.keep()
    after = load_plan(file)
    assert after.lines[0].link_end == before.lines[0].link_end
    assert after.lines[0].length_m != before.lines[0].length_m
    assert file.read_text() == text.replace('"120 in"', '"121 in"')


def test_a_plan_that_is_no_toml_is_said_and_can_be_made_anew(tmp_path: Path, page: PlanPage) -> None:
    """A file of the shop's that cannot be read at all is listed and says why."""
    file = tmp_path / "plans/bad.toml"
    file.parent.mkdir()
    file.write_text("[plan")
    page.show_sheets(file)
    assert "is not valid TOML" in page.said.text()
    assert not page.keep()
    assert file.read_text() == "[plan"
    with pytest.raises(ValueError, match="TOML"):
        read_plan(Table.load(file))
