from __future__ import annotations

import dataclasses

import pytest

from station.measuring.hold import VOID_REASONS
from station.records import words
from station.records.entries import (
    KINDS,
    Adjusted,
    Amended,
    DailyChecked,
    Entry,
    HoldByHand,
    JobOpened,
    LineCompared,
    MarkMade,
    Overridden,
    PieceCut,
    ReferenceChecked,
    ScaleChecked,
    StepDone,
    SteppedBack,
    TrapSet,
)
from tests.station.records.made_up import made_up
from tests.station.records.sample_job import HELD, JOB, TOO_SHORT, hold, pulled


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_of_entry_has_words(kind: str) -> None:
    """Whatever can be recorded can be said in a sentence."""
    said = words.in_words(made_up(KINDS[kind]))
    assert said
    assert "None" not in said
    assert "Entry" not in said


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (PieceCut(job=JOB, line="B", piece="13", length_um=None), "piece 13 cut for B, length not recorded"),
        (
            PieceCut(job=JOB, line="A", piece="14", length_um=3_657_600, lot="H-2240", spool="7"),
            "piece 14 cut for A, length 144 in (3657.6 mm); lot H-2240; spool 7",
        ),
        (
            ScaleChecked(
                scale="LC-0092",
                target_mn=133_447,
                uncertainty={"expanded_mn": 890, "standard_un": 445_000, "error_un": 0},
                scale_class=None,
                points=({"force_mn": 133_447, "error_ppm": 1_000},),
                by="Ansa Velling",
                weights="30 lb, set 2",
                latitude=None,
                check_hash="00" * 32,
            ),
            "scale LC-0092 checked by Ansa Velling with 30 lb, set 2: expanded uncertainty 0.2 lbf (0.9 N) at "
            "30.0 lbf (133.4 N); no class, 1 point",
        ),
        (
            DailyChecked(scale="LC-0092", known_mn=88_964, indicated_mn=93_413, agreed=False, within_mn=890),
            "scale LC-0092 with a known weight: DID NOT AGREE within 0.2 lbf (0.9 N); 21.0 lbf (93.4 N) indicated, "
            "20.0 lbf (89.0 N) known",
        ),
        (
            ReferenceChecked(job=JOB, reference="opposite number", sound=True, finding="within chart", by="Tobin Hask"),
            "reference (opposite number) looked at by Tobin Hask: sound; within chart",
        ),
        (TrapSet(job=JOB, trap="B into A", pull_mn=None), "B into A: set, pull not recorded"),
        (
            HoldByHand(job=JOB, pieces=("13", "14"), by=""),
            "pieces 13, 14: pulled by hand, not measured, by not recorded",
        ),
        (
            MarkMade(job=JOB, trap="B into A", mark="entry", line="A", offset_um=-9_525, pull_mn=None),
            "B into A: entry marked on A, 3/8 in (9.5 mm) past the reference's place, toward the link, "
            "pull not recorded",
        ),
        (
            MarkMade(job=JOB, trap="B into A", mark="entry", line="A", offset_um=0, pull_mn=44_482),
            "B into A: entry marked on A, at the reference's place, under 10.0 lbf (44.5 N)",
        ),
        (
            LineCompared(
                job=JOB,
                line="A",
                method="balanced",
                difference_um=-1_588,
                reference_pull_mn=None,
                line_pull_mn=None,
                after_sewing=True,
            ),
            "A compared: 1/16 in (1.6 mm) short; after sewing, balanced; pull on the reference "
            "not recorded, on the new line not recorded",
        ),
        (
            Adjusted(job=JOB, line="A", action="let-out", move_um=3_175, trap_after_um=127_000),
            "A let out at the canopy end by 1/8 in (3.2 mm); 5 in (127.0 mm) lies trapped",
        ),
        (
            SteppedBack(job=JOB, step="A: cut"),
            "went back on A: cut: what was recorded for it stands, and it is done again",
        ),
        (
            Overridden(job=JOB, step="A: pre-stretch", by="Tobin Hask", reason="cell in repair"),
            "the step A: pre-stretch was passed without what it asks for, by Tobin Hask: cell in repair",
        ),
        (
            Amended(job=JOB, seq=4, text="serial number T190-0471", reason="digits exchanged", by="Ansa Velling"),
            "entry 4 put right by Ansa Velling: serial number T190-0471 (because digits exchanged)",
        ),
    ],
)
def test_an_entry_is_said_as_a_rigger_reads_it(entry: Entry, said: str) -> None:
    """An entry's sentence has its figures with their units, and says what was not recorded."""
    assert words.in_words(entry) == said


def test_a_hold_is_said_with_what_troubled_it() -> None:
    """A hold's sentence has verdict, reason, figures, and what went wrong on the way."""
    said = words.in_words(
        hold(("12",), pulled(1, *TOO_SHORT), "A: pre-stretch", garbage_frames=1, links_lost=("the cable came out",))
    )
    assert said == (
        "pre-stretch of piece 12: not held: the pull never came into the band; highest pull 22.9 lbf (102.0 N); "
        "1 message of the scale not readable; link lost (the cable came out)"
    )


def test_every_reason_of_a_verdict_has_words() -> None:
    """No reason stands in a record as a code word."""
    known = {*VOID_REASONS, "no-scale-check", "scale-too-coarse", "in-doubt", "never-in-band", "short"}
    assert set(words.REASONS) == known
    assert words.verdict({"verdict": "void", "reasons": ["overload", "clock"]}) == (
        "void: the scale said that it was overloaded; a reading was stamped no later than the one before it"
    )


def test_what_is_not_known_of_a_hold_is_said_to_be_not_known() -> None:
    """Without a scale check, U and probability are not known; without a span, there is nothing to have figures."""
    unknown = dict(words.hold_figures(hold(("12",), pulled(2, *HELD), "A", uncertainty=None)))
    assert (unknown["guarded by"], unknown["conformance probability"]) == ("not known", "not known")
    never = dict(words.hold_figures(hold(("12",), pulled(1, *TOO_SHORT), "A")))
    assert (never["lowest in the band"], never["blind to dips under"]) == ("none", "not worked out")
    assert never["conformance probability"] == "none: no span was complete"


def test_facts_leave_nothing_out_and_fill_nothing_in() -> None:
    """Every label stands there, an empty one as not recorded, and what has no label is told as well."""
    told = words.facts({"name": "", "phone_number": 7, "removed": False}, words.OWNER)
    assert told == [
        ("name", "not recorded"),
        ("address", "not recorded"),
        ("phone number", "7"),
        ("removed", "no"),
    ]


def test_every_fact_that_a_job_opens_with_has_a_label() -> None:
    """The labels are those of the canopy, owner, work, people, stock, sewing, measuring and line of an opened job."""
    groups = {"canopy", "owner", "work", "people", "stock", "sewing", "measuring", "line"}
    assert groups <= {field.name for field in dataclasses.fields(JobOpened)}
    assert all(getattr(words, group.upper()) for group in groups)


def test_what_was_only_copied_from_the_original_is_not_said_to_run_through_a_grommet() -> None:
    """A cascade passes no slider grommet: a line brought to its attachment is said to be as the original was."""
    assert words.in_words(StepDone(job=JOB, step="B: route")) == "B brought to its attachment, as the original was"
