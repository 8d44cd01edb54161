from __future__ import annotations

import dataclasses
from functools import partial
from pathlib import Path

import pytest

from station.control_app import control_page
from station.in_control import Charted, Of, chart_picture, charts, rows, signal_words, verdict_words
from station.linework.set_picture import Disc, Shape, Text, svg
from station.measuring.control import control
from station.records.archive import Archive
from station.records.control_page import control_page as paper
from tests.station.shop_year import SCALE, Day, daily_check, full_check, shop

STEADY = [Day(n % 3 * 1_588 - 1_588, hold_share=0.01 * (n % 2)) for n in range(20)]


def charted(path: Path, of: Of, by: str | None = None) -> list[Charted]:
    """Give the charts of an archive that can be read whole."""
    with Archive.open(path) as archive:
        found, unread = charts(archive, of, by)  # type: ignore[arg-type]  # as a person may type it
    assert not unread
    return found


def test_a_new_lot_that_shortens_more_is_named_where_the_run_begins(tmp_path: Path) -> None:
    """Eight long lines in a row make a signal, and what changed before the first of them is the lot alone."""
    days = [*STEADY, *(Day(6_350 + n % 2 * 1_588, lot="L-8") for n in range(8))]
    [one] = charted(shop(tmp_path / "a.sqlite", days), "first-try-differences")
    assert one.control.state == "out of control"
    runs = [(each.first, each.last) for each in one.control.signals if each.rule == "eight on a side"]
    assert runs == [(0, 19), (20, 27)]  # the new lot moved the mean, so what was before it is all on one side as well
    said = next(each for each in signal_words(one, "imperial") if each.startswith("21 to 28"))
    assert said.endswith("8 in a row above the mean. Changed since the one before: lot L-7 → L-8.")


def test_only_what_changed_right_before_a_signal_is_named(tmp_path: Path) -> None:
    """A lot that was new long before is no change; the rigger who began with the figure far off is one."""
    days = [*(dataclasses.replace(each, lot="L-6") for each in STEADY[:3]), *STEADY, Day(9_000, rigger="Tobin Hask")]
    [one] = charted(shop(tmp_path / "a.sqlite", days), "first-try-differences")
    said = next(each for each in signal_words(one, "imperial") if "beyond the upper limit" in each)
    assert said.endswith("Changed since the one before: rigger Ansa Velling → Tobin Hask.")


def test_charted_apart_each_lot_is_by_itself(tmp_path: Path) -> None:
    """By lot, the steady one is in control, and eight figures that only step evenly about their own mean are too."""
    days = [*STEADY, *(Day(6_350 + n % 2 * 1_588, lot="L-8") for n in range(8))]
    found = charted(shop(tmp_path / "a.sqlite", days), "first-try-differences", "lot")
    assert [(each.apart, len(each.figures), each.control.state) for each in found] == [
        ("L-7", 20, "in control"),
        ("L-8", 8, "in control"),
    ]


def test_a_final_difference_is_what_a_signed_off_line_was_left_with(tmp_path: Path) -> None:
    """The comparison after sewing counts, and a job that is not signed off has no final difference."""
    path = shop(tmp_path / "a.sqlite", [Day(3_000, final_um=500), Day(3_000, final_um=700, signed=False)])
    [final] = charted(path, "final-differences")
    assert [each.value for each in final.figures] == [0.0005]
    [first] = charted(path, "first-try-differences")
    assert [each.value for each in first.figures] == [0.003, 0.003]


def test_a_hold_mean_is_its_share_over_the_target_and_a_failed_hold_is_none(tmp_path: Path) -> None:
    """Held and unproven holds are charted by their mean over the target; one that was not held is left away."""
    days = [Day(0, hold_share=0.02), Day(0, hold_share=-0.01, verdict="unproven"), Day(0, verdict="not-held")]
    [one] = charted(shop(tmp_path / "a.sqlite", days), "hold-means")
    assert [each.value for each in one.figures] == pytest.approx([0.02, -0.01])
    assert one.figures[0].conditions["lot"] == "L-7"
    assert one.figures[0].conditions["scale check"] == "none before"


def test_scale_errors_are_shares_of_the_force_apart_by_scale(tmp_path: Path) -> None:
    """A full check's error at its target and a daily check's at its weight are shares of the force, scale by scale."""
    path = shop(tmp_path / "a.sqlite", [full_check(133_447), daily_check(100_500), full_check(0, "other")])
    ours, other = charted(path, "scale-errors")
    assert (ours.apart, other.apart) == (SCALE, "other")
    assert [each.value for each in ours.figures] == pytest.approx([0.001, 0.005], rel=1e-5)
    assert ours.figures[1].conditions["scale check"].startswith("of 2026-03-02")


def test_scales_that_two_benches_call_the_same_are_two(tmp_path: Path) -> None:
    """One port's name at two benches is two scales, each charted by itself; other names stay as they are."""
    path = shop(tmp_path / "a.sqlite", [full_check(133_447), full_check(0, "other")])
    shop(path, [full_check(266_894)], bench="Bench 2")
    found = charted(path, "scale-errors")
    assert {each.apart: [figure.value for figure in each.figures] for each in found} == {
        f"{SCALE}, Bench 1": pytest.approx([0.001], rel=1e-5),
        f"{SCALE}, Bench 2": pytest.approx([0.002], rel=1e-5),
        "other": [0.0],
    }


def test_jobs_that_two_benches_gave_one_number_are_told_apart(tmp_path: Path) -> None:
    """Where benches gave one number to a job each, a signal and the table say whose job a figure is of."""
    for bench, days in (("Bench 1", STEADY), ("Bench 2", [Day(9_000)])):
        path = shop(tmp_path / "a.sqlite", days, bench)
    [one] = charted(path, "first-try-differences")
    assert any("job 26-0001 of Bench 2, line A" in each for each in signal_words(one, "imperial"))
    assert {row[1] for row in rows(one)} >= {"26-0001 of Bench 1", "26-0001 of Bench 2", "26-0002"}


def test_a_scale_checked_anew_before_the_signal_is_named(tmp_path: Path) -> None:
    """Where the scale was checked anew between two holds, and the second is far off, the check is what changed."""
    path = shop(tmp_path / "a.sqlite", [full_check(0), *STEADY, full_check(9), Day(0, hold_share=0.3)])
    [one] = charted(path, "hold-means")
    said = [each for each in signal_words(one, "imperial") if "beyond the upper limit" in each]
    assert len(said) == 1
    assert "Changed since the one before: scale check of 2026-03-02" in said[0]


def test_few_or_equal_figures_are_not_said_to_be_in_control(tmp_path: Path) -> None:
    """Below eight figures, and where all are the same, nothing is known; and no figure at all gives no chart."""
    few = charted(shop(tmp_path / "a.sqlite", STEADY[:7]), "first-try-differences")[0]
    assert verdict_words(few).startswith("Not known whether in control: limits need 8 figures.")
    same = charted(shop(tmp_path / "b.sqlite", [Day(0)] * 9), "first-try-differences")[0]
    assert "all are the same" in verdict_words(same)
    assert (few.control.state, same.control.state) == ("not known", "not known")
    assert charted(shop(tmp_path / "c.sqlite", [full_check(0)]), "hold-means") == []
    with pytest.raises(ValueError, match="at least one"):
        control([])


def test_a_chart_draws_every_figure_on_screen_and_paper(tmp_path: Path) -> None:
    """Each figure is a sign in the picture; the same picture goes into SVG and, with every figure as a row, a PDF."""
    [one] = charted(shop(tmp_path / "a.sqlite", [*STEADY, Day(9_000)]), "first-try-differences")
    picture = chart_picture(one)
    discs = sum(isinstance(part, Disc) for part in picture.parts)
    squares = [part for part in picture.parts if getattr(part, "fill", None) == "ink" and not isinstance(part, Disc)]
    assert (discs, len(squares)) == (21 + 20 - 2, 2)
    assert svg(picture, "chart").count("<circle") == discs
    page = [("chart", partial(chart_picture, one, "imperial"), rows(one))]
    assert paper(page) == paper(page)
    assert len(rows(one)) == 21


@pytest.mark.parametrize("far_um", [9_000, -9_000])
def test_a_signals_number_stands_clear_of_the_mean(tmp_path: Path, far_um: int) -> None:
    """The number of a figure beyond a limit stands beyond its sign as seen from the mean, and nothing is behind it."""
    days = [*STEADY, Day(far_um), *STEADY[:3]]
    [one] = charted(shop(tmp_path / "a.sqlite", days), "first-try-differences")
    parts = chart_picture(one).parts
    at = next(n for n, part in enumerate(parts) if isinstance(part, Text) and part.text == "21" and part.bold)
    sign, plate, number = parts[at - 2 : at + 1]
    assert isinstance(sign, Shape)
    assert isinstance(plate, Shape)
    assert isinstance(number, Text)
    assert (sign.fill, plate.fill) == ("ink", "ground")
    assert all(y < number.y - 5 if far_um < 0 else y > number.y for _, y in sign.points)


def test_the_page_shows_what_is_chosen(tmp_path: Path, qtbot) -> None:  # type: ignore[no-untyped-def]  # pytest-qt's
    """Another choice draws other charts, one for each value of the condition; nothing filed is said."""
    days = [*STEADY, *(Day(0, lot="L-8") for _ in range(3))]
    with Archive.open(shop(tmp_path / "a.sqlite", days)) as archive:
        page = control_page(archive, "dark")
        qtbot.addWidget(page)
        assert [picture.accessibleDescription()[:11] for picture in page.pictures] == ["Not known w"]
        page.what.setCurrentText("First-try differences")
        page.by.setCurrentText("each lot")
        assert len(page.pictures) == 2
        page.what.setCurrentText("Scale errors")
        assert page.pictures == []
        assert page.notice.text() == "Nothing here to chart: no scale errors are filed yet."
