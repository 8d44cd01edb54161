from __future__ import annotations

from pathlib import Path

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QComboBox
from pytestqt.qtbot import QtBot

from station.settings.reline import job_text, load_reline
from station.settings.writing import edited
from station.views.plan_page import plan_shelf
from station.views.reline_page import RelinePage
from station.views.sheet_page import NAME
from tests.station.views.test_dialogs import errors

JOBS = Path("config/jobs")
WANTED = """
[reline]
name = "Both sides"
pieces_together = 2
[[lines]]
plan = "ours.toml"
group = "A"
numbers = [1, 2, "outer"]
[[lines]]
plan = "main-only.toml"
group = "C"
numbers = [1]
sides = ["left"]
"""


class Loft:
    """A shop with two line plans of its own, and the page of its relines."""

    def __init__(self, qtbot: QtBot, folder: Path) -> None:
        self.qtbot, self.folder = qtbot, folder
        self.used: list[Path] = []
        plans = folder / "plans"
        plans.mkdir(exist_ok=True)
        for ready, name in (("one-cascade", "ours"), ("one-main", "main-only")):
            text = (JOBS / f"{ready}.toml").read_text(encoding="utf-8")
            (plans / f"{name}.toml").write_text(edited(text, {"plan.name": name}))
        self.page = RelinePage("dark", folder, plan_shelf(folder).sheets(), self.used.append)
        qtbot.addWidget(self.page)
        self.page.show()

    def type(self, **typed: str) -> None:
        """Fill in some fields, as if typed; a group is g0, g1, and on."""
        keys = {key.replace("__", "."): text for key, text in typed.items()}
        keys = {key.replace("g0.", "lines.0.").replace("g1.", "lines.1."): text for key, text in keys.items()}
        form = self.page.form
        form.fill({**form.answers(), **keys}, settled=False)

    def two_groups(self) -> None:
        """Type a reline of two groups."""
        self.page.new_button.click()
        self.type(name="Both sides", g0__group="A", g0__plan="ours", g0__numbers="1, 2 outer")
        self.page.group_button.click()
        self.type(g1__group="C", g1__plan="main-only", g1__numbers="1", g1__sides="left")
        self.type(**{"reline.pieces_together": "2"})


def test_a_reline_is_written_with_no_text_editor(qtbot: QtBot, tmp_path: Path) -> None:
    """What is typed is the job file that a person would write, every line can be worked, and a job begins from it."""
    loft = Loft(qtbot, tmp_path)
    loft.two_groups()
    loft.page.keep_button.click()
    assert errors(loft.page) == []
    kept = tmp_path / "plans" / "both-sides.toml"
    wanted = tmp_path / "wanted.toml"
    wanted.write_text(WANTED)
    assert load_reline(kept).lines == load_reline(wanted, at=kept).lines
    assert (load_reline(kept).together, load_reline(kept).comparing) == (2, "in turn")
    assert "7 lines on links, 13 with what joins them, from 4 stretched lengths" in loft.page.follows.text()
    loft.page.use_button.click()
    assert loft.used == [kept]
    _, _, sides = job_text(kept)
    assert sides == "left and right"


def test_a_ready_made_plan_can_be_named(qtbot: QtBot, tmp_path: Path) -> None:
    """Ready-made line plans stand after the shop's own; a whole reline that names one is read from any folder."""
    loft = Loft(qtbot, tmp_path)
    loft.page.new_button.click()
    named = loft.page.form.inputs["lines.0.plan"]
    assert isinstance(named, QComboBox)
    offered = [named.itemText(row) for row in range(named.count())]
    assert offered[1:3] == ["main-only", "ours"]
    ready = [each for each in offered if each.startswith("ready-made: ")]
    assert len(ready) == 3
    loft.type(name="Mixed", g0__group="A", g0__plan=ready[1], g0__numbers="1")
    loft.page.keep_button.click()
    assert errors(loft.page) == []
    kept = tmp_path / "plans" / "mixed.toml"
    assert 'plan = "one-cascade.toml"' in kept.read_text()
    text, _, _ = job_text(kept)
    assert "[plans]" in text
    assert loft.page.form.answers()["lines.0.plan"] == ready[1]


def test_a_group_is_taken_out_and_what_a_person_wrote_stays(qtbot: QtBot, tmp_path: Path) -> None:
    """A group without plan and name goes from the file; comments and the other group stay as they were."""
    loft = Loft(qtbot, tmp_path)
    file = tmp_path / "plans" / "wanted.toml"
    file.write_text("# by hand\n" + WANTED)
    loft.page.show_sheets(file)
    assert loft.page.form.answers()["lines.0.numbers"] == "1, 2, outer"
    loft.type(g0__plan="none: no such group", g0__group="")
    loft.page.keep_button.click()
    assert errors(loft.page) == []
    assert [line.name for line in load_reline(loft.page._sheet.path).lines] == ["C 1 left"]  # type: ignore[union-attr]
    assert "# by hand" in loft.page._sheet.path.read_text()  # type: ignore[union-attr]


@pytest.mark.parametrize(("typed", "said"), [
    ({"g0__numbers": ""}, "is missing and is required"),
    ({"g0__plan": "none: no such group"}, "is missing and is required"),
    ({"reline.pieces_together": "many"}, "expected how many lines"),
    ({"g0__group": "C", "g0__numbers": "1"}, "rename a group"),
    ({"name": ""}, "This is needed"),
])  # fmt: skip
def test_what_cannot_be_worked_is_said_and_nothing_is_written(
    qtbot: QtBot, tmp_path: Path, typed: dict[str, str], said: str
) -> None:
    """No numbers, no plan, a wrong count, two lines of a name: each is said, and no file appears."""
    loft = Loft(qtbot, tmp_path)
    loft.two_groups()
    loft.type(**typed)
    loft.page.keep_button.click()
    assert said in " ".join([*errors(loft.page), loft.page.said.text()])
    assert not (tmp_path / "plans" / "both-sides.toml").exists()


def test_the_ready_made_reline_is_shown_used_and_not_written(qtbot: QtBot, tmp_path: Path) -> None:
    """It stands there whole, a job can begin from it as it is, and what is typed is asked about before it goes."""
    loft = Loft(qtbot, tmp_path)
    assert loft.page.form.answers()["lines.0.numbers"] == "1, 2, 3, 4"
    assert loft.page.follows.text().startswith("18 lines on links")
    loft.page.use_button.click()
    assert [path.name for path in loft.used] == ["whole-reline.toml"]
    loft.type(name="x")
    qtbot.keyClick(loft.page, Qt.Key.Key_Escape)
    assert loft.page.isVisible()
    assert NAME in loft.page.form.inputs
