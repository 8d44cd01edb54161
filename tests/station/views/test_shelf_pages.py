from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from station.settings import shop
from station.settings.hold import HoldSpecification, load_hold
from station.settings.materials import load_material, material_named
from station.views.sheet_page import NAME
from station.views.shelf_page import HOLDS, MATERIALS, ShelfPage
from tests.station.views.pages import PRESS, shown
from tests.station.views.test_dialogs import errors

pytestmark = pytest.mark.usefixtures("own_folder")


@st.composite
def specifications(draw: st.DrawFn) -> HoldSpecification:
    """Give any hold specification that is one."""
    low = draw(st.integers(1, 10**6))
    target = draw(st.integers(low, low + 10**6))
    high = draw(st.integers(max(target, low + 1), target + 10**6))
    return HoldSpecification(
        name="ours",
        target_mn=target,
        low_mn=low,
        high_mn=high,
        ceiling_mn=draw(st.integers(high + 1, high + 10**6)),
        duration_us=draw(st.integers(1, 10**10)),
        max_gap_us=draw(st.integers(1, 10**6)),
        zero_limit_mn=draw(st.none() | st.integers(0, low - 1)),
        still_limit_us=draw(st.none() | st.integers(1, 10**9)),
        guarded=draw(st.booleans()),
    )


def typed_of(spec: HoldSpecification) -> dict[str, str]:
    """Give what a person would type for a specification."""

    def force(mn: int | None) -> str:
        return "" if mn is None else f"{mn // 1000}.{mn % 1000:03} N"

    def time_text(us: int | None) -> str:
        return "" if us is None else f"{us // 10**6}.{us % 10**6:06} s"

    return {
        NAME: spec.name,
        "hold.target": force(spec.target_mn),
        "hold.low": force(spec.low_mn),
        "hold.high": force(spec.high_mn),
        "hold.ceiling": force(spec.ceiling_mn),
        "hold.duration": time_text(spec.duration_us),
        "hold.max_gap": time_text(spec.max_gap_us),
        "hold.zero_limit": force(spec.zero_limit_mn),
        "hold.still_limit": time_text(spec.still_limit_us),
        "hold.decision": "taken off the limits" if spec.guarded else "not taken off",
        "hold.source": "a test",
    }


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(spec=specifications())
def test_a_hold_kept_by_the_page_is_read_back_equal(qtbot: QtBot, tmp_path: Path, spec: HoldSpecification) -> None:
    """Whatever specification is typed and kept, a strict reading of its file gives that specification."""
    folder = tmp_path / str(time.monotonic_ns())
    page = ShelfPage("dark", shop.holds(folder), HOLDS)
    qtbot.addWidget(page)
    page.begin_new()
    page.form.fill(typed_of(spec))
    page.keep()
    assert errors(page) == []
    assert load_hold(folder / "holds/ours.toml") == spec


@pytest.mark.parametrize(("key", "text", "said"), [
    (NAME, "main hmpe", "the name of a ready-made one"),
    ("hold.target", "30", "expected a force with its unit"),
    ("hold.target", "30 kg", "a mass and a force is meant"),
    ("hold.low", "46 lbf", "must be below high"),
    ("hold.low", "31 lbf", "must lie between low and high"),
    ("hold.high", "100 N", "low, 124.55 N, must be below high, 100 N"),  # in the unit that was typed last
    ("hold.high", "27.5 lbf", "low, 28 lbf, must be below high, 27.5 lbf"),
    ("hold.ceiling", "44 lbf", "must be above high"),
    ("hold.duration", "30", "expected a time with its unit"),
    ("hold.duration", "__import__('os')", "expected a time with its unit"),
    ("hold.max_gap", "2 s", "at most 1 s"),
    ("hold.zero_limit", "28 lbf", "must be below low"),
    ("hold.rated_strength", "50 lbf", "none above the rated strength"),
    ("hold.source", "", "This is needed"),
])  # fmt: skip
def test_each_wrong_entry_of_a_hold_is_said_beside_a_field(
    qtbot: QtBot, tmp_path: Path, key: str, text: str, said: str
) -> None:
    """What the loader refuses stands in one sentence beside a field, and no file is written."""
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    page.form.fill({**page.form.answers(), NAME: "ours"} | {key: text})
    qtbot.mouseClick(page.keep_button, PRESS)
    (found,) = errors(page)
    assert said in found
    assert not list(tmp_path.glob("holds/*"))


def test_a_copy_is_made_typed_and_changed_by_keyboard(qtbot: QtBot, tmp_path: Path) -> None:
    """Down to a ready-made hold, a name of one's own, Enter on the button: the copy is kept, listed and chosen."""
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    qtbot.keyClick(page.rows, Qt.Key.Key_Down)
    name = page.form.inputs[NAME]
    name.setFocus()
    qtbot.keyClicks(name, "Our mark")
    page.keep_button.setFocus()
    qtbot.keyClick(page.keep_button, Qt.Key.Key_Return)
    assert page.said.text().startswith("Kept: our-mark")
    item = page.rows.currentItem()
    assert item is not None
    assert item.text() == "our-mark\n20 lbf for 5 s · your own"
    ready, ours = shop.hold_named("mark-round-nylon", tmp_path), shop.hold_named("our-mark", tmp_path)
    assert ours.facts() == ready.facts() | {"name": "our-mark"}
    assert (tmp_path / "holds/our-mark.toml").read_text().startswith("#")  # the copied file's own words


def test_a_file_that_is_wrong_is_listed_and_mended(qtbot: QtBot, tmp_path: Path) -> None:
    """A hold of the shop's own that cannot be read says why, and can be mended in the form."""
    (tmp_path / "holds").mkdir()
    bad = tmp_path / "holds/bad.toml"
    bad.write_text('[hold]\ntarget = "30"\nlow = "28 lbf"\nhigh = "45 lbf"\nduration = "30 s"\nceiling = "60 lbf"\n')
    page = ShelfPage("dark", shop.holds(tmp_path), HOLDS)
    shown(qtbot, page)
    page.rows.setCurrentRow(page.rows.count() - 1)
    assert "expected a force with its unit" in page.whose.text()
    page.form.fill({**page.form.answers(), "hold.target": "30 lbf", "hold.source": "a manual"})
    qtbot.mouseClick(page.keep_button, PRESS)
    assert load_hold(bad).target_mn == 133_447


def test_a_ready_made_material_copied_is_that_material(qtbot: QtBot, tmp_path: Path) -> None:
    """Copied under another name and read back, every figure and every source is as it was."""
    page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
    shown(qtbot, page)
    for row, sheet in enumerate(shop.materials(tmp_path).sheets()):
        page.rows.setCurrentRow(row)
        page.form.fill({**page.form.answers(), NAME: f"our {sheet.name}"})
        page.keep()
        assert errors(page) == []
        ours = load_material(shop.materials(tmp_path).sheets()[-1].path)
        before = load_material(sheet.path)
        assert {**vars(ours), "name": ""} == {**vars(before), "name": ""}
        next(iter((tmp_path / "lines").glob("*.toml"))).unlink()
        page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
        qtbot.addWidget(page)


@pytest.mark.parametrize(("changes", "said"), [
    ({"rated_strength.value": "700"}, "expected a force with its unit"),
    ({"rated_strength.words": ""}, "expected either source"),
    ({"carriers.value": "15"}, "expected an even number"),
    ({"carriers.value": "many"}, "expected a whole number"),
    ({"fibre_density_kg_per_m3.value": "nan"}, "expected a plain number"),
    ({"flat_width.value": "0 mm"}, "expected more than zero"),
    ({"stiffness.value": ""}, "is missing"),
    ({"picks.picks": "24"}, "expected a length"),
])  # fmt: skip
def test_each_wrong_entry_of_a_material_is_said(
    qtbot: QtBot, tmp_path: Path, changes: dict[str, str], said: str
) -> None:
    """What the loader refuses of a material is said beside a field, and no file is written."""
    page = ShelfPage("dark", shop.materials(tmp_path), MATERIALS)
    shown(qtbot, page)
    changed = {f"material.{key}": text for key, text in changes.items()}
    if "picks.picks" in changes:
        changed |= {"material.picks.words": "counted", "material.picks.per": "1"}
    page.form.fill({**page.form.answers(), NAME: "ours"} | changed)
    page.keep()
    (found,) = errors(page)
    assert said in found
    assert not list(tmp_path.glob("lines/*"))


def test_a_material_of_the_shop_counts_in_a_plan(qtbot: QtBot, tmp_path: Path) -> None:
    """A material kept in the shop's folder is found by its name, as a plan asks for it."""
    page = ShelfPage("dark", shop.materials(tmp_path / "data/fidbench"), MATERIALS)
    qtbot.addWidget(page)
    page.form.fill({**page.form.answers(), NAME: "our braid, lot 12"})
    page.keep()
    assert material_named("our braid, lot 12").fibre == "aramid"
