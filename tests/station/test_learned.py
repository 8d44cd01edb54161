from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytestqt.qtbot import QtBot

from station.bench.job import EXAMPLE_PLAN, example_opening
from station.learned import Filed, Learned, LearnedTrial, learned, trials_of_jobs
from station.linework.line_plan import make_plan
from station.linework.plan_text import marks_text
from station.linework.shrinkage import estimate
from station.pages_app import plan_page, reline_page
from station.records.archive import Archive
from station.records.entries import (
    Adjusted,
    Entry,
    JobOpened,
    LineCompared,
    MarkMade,
    PieceCut,
    PieceScrapped,
    SteppedBack,
    TrapMade,
    TrapSet,
    TrialCounted,
    TrialLeftOut,
)
from station.settings.plan import ARCHIVE, load_plan, plan_text
from station.settings.reline import job_text
from station.settings.trials import Trial

JOB = "26-0001"
TRAP = "A canopy end"
KNOWN = EXAMPLE_PLAN.replace(
    'tolerance = "1/2 in"',
    'tolerance = "1/2 in"\nmark_uncertainty = "0.8 mm"\neye_uncertainty = "0.5 mm"\ncomparing_uncertainty = "0 N"',
).replace('length = "120 in"', 'length = "120 in"\nstiffness = "10000 lbf"\nlot = "L-7"')


def compared(n: int, difference_um: int, *, after_sewing: bool = False, pull_mn: int | None = 44_000) -> LineCompared:
    """Give a comparison of line A, the n-th of its chain."""
    return LineCompared(
        job=JOB,
        step=f"A: compare{' after sewing' if after_sewing else ''} {n}",
        line="A",
        method="in turn",
        difference_um=difference_um,
        reference_pull_mn=44_000,
        line_pull_mn=pull_mn,
        after_sewing=after_sewing,
    )


def trapped(offset_um: int = 8_000, trap_um: int = 127_000, pull_mn: int | None = 44_000) -> list[Entry]:
    """Give the mark, the trap and its setting at A's canopy end."""
    return [
        MarkMade(
            job=JOB, step=f"{TRAP}: mark", trap=TRAP, mark="entry", line="A", offset_um=offset_um, pull_mn=pull_mn
        ),
        TrapMade(job=JOB, step=f"{TRAP}: trap", trap=TRAP, host="A", guest="A", trap_um=trap_um),
        TrapSet(job=JOB, step=f"{TRAP}: set", trap=TRAP, pull_mn=45_000),
    ]


def trials(*facts: Entry, plan: str = KNOWN) -> list[LearnedTrial]:
    """Give the trials of one job with these facts after its opening."""
    told = enumerate((example_opening(plan), *facts), 1)
    filed = [Filed("Bench 1", n, f"2026-06-12T09:00:{n:02d}", fact) for n, fact in told]
    found = trials_of_jobs({("Bench 1", JOB): filed})
    assert not found.unread
    return list(found.trials)


def test_the_shortening_is_what_it_stood_longer_less_what_it_stands_now() -> None:
    """A line left 8 mm long and found 3 mm long was shortened by 5 mm, with the plan's terms for its uncertainty."""
    [one] = trials(*trapped(), compared(1, 3_000))
    assert (one.trial.shortening_m, one.trial.trap_m, one.trial.lot) == (0.005, 0.127, "L-7")
    assert one.uncertainty_m == pytest.approx((0.8e-3**2 + 0.5e-3**2) ** 0.5)
    assert (one.entries, one.unknown, one.counts) == ((2, 3, 5), (), True)


def test_a_difference_in_sixteenths_is_rounded_to_one() -> None:
    """A difference of whole sixteenths has the rounding's uncertainty besides, 1/16 in over the root of 12."""
    [one] = trials(*trapped(), compared(1, 4_762))
    assert one.terms_m["rounding"] == pytest.approx(0.0254 / 16 / 12**0.5)


@pytest.mark.parametrize(
    ("renamed_at", "bench", "why_not"),
    [(1, "Bench One", ""), (4, "Bench 1", "its mark, trap and comparison stand in the chains of different benches")],
)
def test_a_job_goes_on_where_its_benchs_name_was_changed(
    tmp_path: Path, renamed_at: int, bench: str, why_not: str
) -> None:
    """A job that goes on under another name of its bench is read as one; a trial stands in one chain or is none."""
    for n, fact in enumerate((example_opening(KNOWN), *trapped(), compared(1, 3_000))):
        name = "Bench 1" if n < renamed_at else "Bench One"
        with Archive.open(tmp_path / "a.sqlite", bench=name, create=True) as archive:
            archive.append(fact, f"2026-06-12T09:00:{n:02d}.000000Z")
    with Archive.open(tmp_path / "a.sqlite") as archive:
        found = learned(archive)
    assert found.unread == ()
    assert [(one.bench, one.why_not) for one in found.trials] == [(bench, why_not)]


def test_what_came_after_the_first_comparison_changes_nothing() -> None:
    """Let-outs, later comparisons and those after sewing leave the trial as the first comparison made it."""
    first = [*trapped(), compared(1, -3_000)]
    later = [
        Adjusted(job=JOB, step="A: adjust 1", line="A", action="let-out", move_um=2_824, trap_after_um=124_176),
        compared(2, 0),
        compared(1, 2_000, after_sewing=True),
    ]
    assert trials(*first, *later) == trials(*first)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.02, 0.09), st.integers(3_000, 15_000), st.integers(60_000, 200_000))
def test_a_line_that_shortens_as_it_does_is_found_to(k: float, offset_um: int, trap_um: int) -> None:
    """Whatever was allowed for, and so whatever the line stood afterwards, the trial says what the trap really took."""
    [one] = trials(*trapped(offset_um, trap_um), compared(1, round(offset_um - k * trap_um)))
    assert one.trial.shortening_m == pytest.approx(k * trap_um / 1e6, abs=1e-6)


def test_only_what_stands_counts() -> None:
    """A comparison that was stepped back on counts as it was made again; a scrapped piece's trap does not count."""
    cut = PieceCut(job=JOB, step="A: cut", line="A", piece="12", length_um=None, lot="L-9")
    again = [compared(1, 3_000), SteppedBack(job=JOB, step="A: compare 1"), compared(1, 1_000)]
    [one] = trials(cut, *trapped(), *again)
    assert (one.difference_m, one.lot, one.entries[2]) == (0.001, "L-9", 8)
    assert not trials(cut, *trapped(), *again, PieceScrapped(job=JOB, piece="12", by="x", reason="y"))


@pytest.mark.parametrize(
    ("facts", "why"),
    [
        ([*trapped(pull_mn=None), compared(1, 0)], "the pull it was marked under was not measured"),
        ([*trapped(), compared(1, 0, pull_mn=None)], "the pulls it was compared under were not measured"),
        ([*trapped()[:2], compared(1, 0)], "the trap was not set before it was compared"),
        ([compared(1, 0), *trapped()], "its mark, trap and comparison are not in the order of the work"),
        ([*trapped(), compared(1, 10_000)], "it lengthened its host, which no trap does"),
        ([*trapped(), compared(1, -119_000)], "it shortened its host by all its length or more, which no trap does"),
    ],
)
def test_what_was_not_measured_is_no_trial(facts: list[Entry], why: str) -> None:
    """A trap marked or compared under pulls nobody measured, not set, out of order, or impossible does not count."""
    [one] = trials(*facts)
    assert (one.why_not, one.counts) == (why, False)


def test_terms_that_nobody_gave_are_named() -> None:
    """A plan without uncertainties leaves all its terms out and says so; with nothing else none is known."""
    [one] = trials(*trapped(), compared(1, 3_000), plan=EXAMPLE_PLAN)
    assert (one.unknown, one.uncertainty_m, one.counts) == (("mark", "eye", "comparing"), None, True)


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    """Give an archive that holds six jobs whose traps shorten by 0.05, one of them far off, and one unreadable."""
    with Archive.open(tmp_path / "a.sqlite", bench="Bench 1", create=True) as ours:
        for n in range(1, 7):
            job = f"26-{n:04d}"
            facts: list[Entry] = [example_opening(KNOWN), *trapped(trap_um=100_000 + 10_000 * n)]
            facts.append(compared(1, 8_000 - 5_000 - 500 * n if n < 6 else 0))
            for fact in facts:
                ours.append(type(fact)(**{**vars(fact), "job": job}), "2026-06-12T09:00:00.000000Z")
        bad = JobOpened(**{**vars(example_opening("[plan]\nname = 1")), "job": "26-0009"})
        ours.append(bad, "2026-06-12T09:00:00.000000Z")
        yield ours


def file(archive: Archive, kind: type[TrialLeftOut] | type[TrialCounted], one: LearnedTrial) -> Learned:
    """File that a trial is left out or counts again; give what is learned then."""
    fact = kind(of_job=one.job, trap=one.trap, trap_seq=one.entries[1], by="Ansa Velling", reason="slipped")
    archive.append(fact, "2026-06-13T09:00:00.000000Z")
    return learned(archive)


def test_a_trial_is_left_out_by_name_and_reason_and_counts_again(archive: Archive) -> None:
    """Leaving a trial out moves the estimate and stays to be seen; counting it again brings back what was."""
    before = learned(archive)
    assert [each.job for each in before.trials] == [f"26-{n:04d}" for n in range(1, 7)]
    assert len(before.unread) == 1
    assert "26-0009" in before.unread[0]
    without = file(archive, TrialLeftOut, before.trials[5])
    out = without.trials[5].left_out
    assert out is not None
    assert (out.by, out.reason, len(without.counted())) == ("Ansa Velling", "slipped", 5)
    assert estimate(without.counted()).shrinkage.coefficient == pytest.approx(0.05, abs=1e-6)
    assert file(archive, TrialCounted, before.trials[5]).counted() == before.counted()


def test_a_plan_takes_its_allowance_from_the_archive_and_keeps_it(archive: Archive, tmp_path: Path) -> None:
    """A plan that asks for the archive's trials says how many of which lot, from which jobs; its kept text too."""
    plan = tmp_path / "plan.toml"
    plan.write_text(KNOWN.replace("coefficient = 0.0625", f'trials = "{ARCHIVE}"'))

    def read() -> list[Trial]:
        return learned(archive).counted()

    kept = tmp_path / "kept.toml"
    kept.write_text(plan_text(plan, read))
    for found in (load_plan(plan, read), load_plan(kept)):
        source = make_plan(found).steps[0].source
        assert source.startswith("6 trials of lot L-7")
        assert source.endswith(", made in job 26-0001 to job 26-0006, 6 in all")
    with pytest.raises(ValueError, match="its trials are those of the archive, and it has none yet"):
        make_plan(load_plan(plan))


def test_the_pages_of_plans_and_relines_use_what_the_archive_knows(
    archive: Archive, tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plan that asks for the archive's trials is worked out on its page by them, as when a job begins."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    plan = tmp_path / "data/fidbench/plans/ours.toml"
    plan.parent.mkdir(parents=True)
    plan.write_text(KNOWN.replace("coefficient = 0.0625", f'trials = "{ARCHIVE}"'))
    page = plan_page("light", archive, lambda _: None, "imperial", mirrored=False)
    qtbot.addWidget(page)
    page.sheets.setCurrentIndex(page.sheets.count() - 1)
    assert page.state.text().startswith("Marks and trap lengths are ready")
    assert "6 trials of lot L-7" in page.marks.toPlainText()
    shown = page.marks.toPlainText().replace("\u00a0", " ")
    for row in marks_text(make_plan(load_plan(plan, lambda: learned(archive).counted()))).splitlines()[2:]:
        assert row.strip() in shown
    assert page.keep()
    whole = plan.with_name("whole.toml")
    whole.write_text('[reline]\nname = "Whole"\n[[lines]]\nplan = "ours.toml"\ngroup = "A"\nnumbers = [1, 2]\n')
    relines = reline_page("light", archive, lambda _: None)
    qtbot.addWidget(relines)
    relines.rows.setCurrentRow(relines.rows.count() - 1)
    assert relines.follows.text().startswith("4 lines on links")
    with Archive.open(tmp_path / "none.sqlite", bench="Bench 1", create=True) as empty:
        page = plan_page("light", empty, lambda _: None, "imperial", mirrored=False)
        qtbot.addWidget(page)
        page.sheets.setCurrentIndex(page.sheets.count() - 1)
        assert page.state.text() == "Not ready: no marks yet"
        assert "its trials are those of the archive, and it has none yet" in page.why.text()


def test_a_set_of_lines_teaches_line_by_line_and_is_taught(tmp_path: Path) -> None:
    """Each line of a reline is a trial of its own, and a reline's plans take the archive's trials as one plan does."""
    (tmp_path / "plan.toml").write_text(KNOWN)
    path = tmp_path / "set.toml"
    path.write_text('[reline]\nname = "x"\n[[lines]]\nplan = "plan.toml"\ngroup = "A"\nnumbers = [1]\n')
    text, _, sides = job_text(path)
    assert sides == "left and right"
    facts: list[Entry] = []
    for n, side in enumerate(("left", "right"), 1):
        line = f"A 1 {side}"
        for fact in (*trapped(), compared(1, 1_000 * n)):
            told = {
                key: each.replace("A", line, 1) if isinstance(each, str) and each[:1] == "A" else each
                for key, each in vars(fact).items()
            }
            facts.append(type(fact)(**told))
    found = trials(*facts, plan=text)
    assert [(each.line, each.trial.shortening_m, each.lot) for each in found] == [
        ("A 1 left", 0.007, "L-7"),
        ("A 1 right", 0.006, "L-7"),
    ]
    (tmp_path / "plan.toml").write_text(KNOWN.replace("coefficient = 0.0625", f'trials = "{ARCHIVE}"'))
    kept, plan, _ = job_text(path, lambda: [each.trial for each in found])
    assert make_plan(plan).steps[0].source == "2 trials of lot L-7, made in job 26-0001"
    assert "A 1 left canopy end, entries 2, 3, 5" in kept
