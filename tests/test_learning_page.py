from __future__ import annotations

from pathlib import Path

from station.measuring.control import D4, E2, ENOUGH, FALSE_ALARM_EVERY, FALSE_ALARM_SHARES, FEWEST, RUN

PAGE = (Path(__file__).parent.parent / "docs/learning.md").read_text(encoding="utf-8")


def test_the_page_has_the_programs_constants_and_false_alarms() -> None:
    """Limits, and how often a chart signals though nothing is wrong, stand on the page as the program has them."""
    assert f"{E2:.3f}\nMR" in PAGE
    assert f"{D4:.3f} MR" in PAGE
    assert f"Below {FEWEST} figures there are no limits, below {ENOUGH} they\nare called provisional" in PAGE
    assert (RUN, "eight in a row on one side of the mean" in PAGE) == (8, True)
    assert f"every {FALSE_ALARM_EVERY}." in PAGE
    assert f"| figures | {' | '.join(map(str, FALSE_ALARM_SHARES))} |" in PAGE
    shares = " | ".join(f"{100 * share:.0f} %" for share in FALSE_ALARM_SHARES.values())
    assert f"| charts with a signal | {shares} |" in PAGE
