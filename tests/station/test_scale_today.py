from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from drivers.events import Reading
from drivers.link import LinkSettings
from drivers.text_frames import TextFormat
from station.measuring.hold import ScaleUncertainty
from station.measuring.trace import Trace
from station.records.archive import Archive
from station.records.chain import utc_text
from station.records.entries import DailyChecked, Entry, HoldJudged, ScaleChecked
from station.scale_today import ScaleRecord
from station.settings.station import ScaleSettings

TARGET_MN = 133_447
MONDAY = datetime.datetime(2026, 6, 1, 9, tzinfo=datetime.UTC)
HOUR, DAY = datetime.timedelta(hours=1), datetime.timedelta(days=1)
CHECK = ScaleChecked(
    scale="A",
    target_mn=TARGET_MN,
    uncertainty={"expanded_mn": 534, "standard_un": 260_000, "error_un": 10_000},
    scale_class="0.5",
    points=(
        {"force_mn": 49_000, "mean_error_un": 20_000},
        {"force_mn": 98_000, "mean_error_un": 40_000},
        {"force_mn": 147_100, "mean_error_un": 80_000},
    ),
    by="A. Person",
    weights="5 kg, 10 kg, 15 kg; set 2",
    latitude="47.5 deg",
    check_hash="0" * 64,
)
AGREED = DailyChecked(scale="A", known_mn=147_100, indicated_mn=147_300, agreed=True, within_mn=534)
OFF = replace(AGREED, indicated_mn=148_000, agreed=False)
TYPED = ScaleSettings(
    LinkSettings("A"), TextFormat(frame="{value}", end=b"\r", unit="lbf"), 444_822, None, None, Fraction(1),
    datetime.date(2026, 6, 30),
)  # fmt: skip
UNTYPED = replace(TYPED, uncertainty_n=None, uncertainty_until=None)


class Book:
    """An archive into which facts are filed at times of our choosing."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.archive = Archive.open(path, bench="Bench 1", create=True)

    def file(self, at: datetime.datetime, *entries: Entry) -> Book:
        """File facts a second apart."""
        for number, entry in enumerate(entries):
            traces = [TRACE] if isinstance(entry, HoldJudged) else []
            self.archive.append(entry, utc_text(at + number * datetime.timedelta(seconds=1)), traces)
        return self

    def words(
        self, now: datetime.datetime, scale: ScaleSettings | None = UNTYPED, target_mn: int = TARGET_MN, name: str = "A"
    ) -> str:
        """Say what is known."""
        known = ScaleRecord.of(self.archive, name).today(scale, target_mn, now)
        assert (known.uncertainty is None) is (known.words.tone == "warn")
        return known.words.text


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    """Open an archive."""
    opened = Book(tmp_path / "a.sqlite")
    yield opened
    opened.archive.close()


TRACE = Trace.of([Reading(0, 30.0, "lbf", None, 0)])


def hold(number: int, scale: str = "A") -> HoldJudged:
    """Give a hold that was judged on a scale."""
    return HoldJudged(
        job=f"26-{number:04d}",
        pieces=(str(number + 10),),
        trace=TRACE.digest(),
        specification={},
        uncertainty=None,
        response_us=None,
        program_fault=False,
        judgement={"verdict": "held"},
        rule_version=1,
        garbage_frames=0,
        links_lost=(),
        scale=scale,
    )


def test_nothing_filed_is_nothing_known(book: Book) -> None:
    """Without a check and without a typed uncertainty nothing is proven; a typed one counts to the end of its day."""
    assert book.words(MONDAY) == "scale not checked: nothing is proven"
    assert book.words(MONDAY, TYPED) == "scale known to ±0.22 lbf"
    assert book.words(MONDAY + 29 * DAY, TYPED) == "scale known to ±0.22 lbf"
    assert book.words(MONDAY + 30 * DAY, TYPED) == "scale not checked: nothing is proven"
    assert ScaleRecord.of(None, "A").today(TYPED, TARGET_MN, MONDAY).words.text == "scale known to ±0.22 lbf"


def test_a_full_check_counts_on_days_that_were_checked(book: Book) -> None:
    """A full check alone is not enough; the daily check made after it renews it for that day and no longer."""
    book.file(MONDAY, CHECK)
    assert book.words(MONDAY + HOUR) == "scale not checked today: hang the daily weight"
    book.file(MONDAY + HOUR, AGREED)
    assert book.words(MONDAY + 2 * HOUR) == "scale checked today, ±0.12 lbf"
    assert book.words(MONDAY + DAY) == "scale not checked today: hang the daily weight"
    assert book.words(MONDAY + DAY, TYPED) == "scale known to ±0.22 lbf"
    found = ScaleRecord.of(book.archive, "A").today(UNTYPED, TARGET_MN, MONDAY + 2 * HOUR).uncertainty
    assert found == ScaleUncertainty(534, 260_000, 10_000)


def test_a_daily_check_before_the_full_check_does_not_renew_it(book: Book) -> None:
    """What agreed in the morning agreed with the check before, not with the one made at noon."""
    book.file(MONDAY, CHECK, AGREED)
    book.file(MONDAY + HOUR, CHECK)
    assert book.words(MONDAY + 2 * HOUR) == "scale not checked today: hang the daily weight"


def test_a_full_check_counts_for_a_year(book: Book) -> None:
    """On the 365th day a full check still counts, an hour later no daily check renews it."""
    book.file(MONDAY, CHECK)
    book.file(MONDAY + 365 * DAY - HOUR, AGREED)
    assert book.words(MONDAY + 365 * DAY) == "scale checked today, ±0.12 lbf"
    assert book.words(MONDAY + 365 * DAY + HOUR) == "scale check out of date: nothing is proven"


def test_a_check_from_the_future_is_not_believed(book: Book) -> None:
    """A check stamped after now, as by a clock that was put back, counts for nothing."""
    book.file(MONDAY + DAY, CHECK, AGREED)
    assert book.words(MONDAY) == "scale check out of date: nothing is proven"


def test_today_is_the_day_where_the_bench_stands(book: Book) -> None:
    """Late in the evening, west of Greenwich, the daily check of that morning still counts: days are local."""
    west = datetime.timezone(-7 * HOUR)
    book.file(MONDAY + 6 * HOUR, CHECK, AGREED)  # 15:00 UTC, 08:00 there
    evening = datetime.datetime(2026, 6, 1, 20, tzinfo=west)  # 03:00 UTC on Tuesday
    assert book.words(evening) == "scale checked today, ±0.12 lbf"
    assert book.words(evening.astimezone(datetime.UTC)) == "scale not checked today: hang the daily weight"


def test_a_scale_that_disagreed_is_unknown_whatever_was_typed(book: Book) -> None:
    """After a daily check that did not agree nothing is proven, on later days too, until it agrees or is checked."""
    book.file(MONDAY, CHECK, AGREED, OFF)
    for later in (HOUR, DAY, 20 * DAY):
        assert book.words(MONDAY + later, TYPED) == "scale did not agree: nothing is proven"
    book.file(MONDAY + 2 * HOUR, AGREED)
    assert book.words(MONDAY + 3 * HOUR) == "scale checked today, ±0.12 lbf"
    book.file(MONDAY + 4 * HOUR, OFF, CHECK)
    assert book.words(MONDAY + 5 * HOUR) == "scale not checked today: hang the daily weight"


def test_a_check_speaks_for_its_own_target_alone(book: Book) -> None:
    """A check made for 30 lbf says nothing of a hold at 10 lbf, and a weight far from the target renews nothing."""
    book.file(MONDAY, CHECK, replace(AGREED, known_mn=44_482, indicated_mn=44_482))
    assert book.words(MONDAY + HOUR, target_mn=44_482) == "not checked at 10.0 lbf: nothing is proven"
    assert book.words(MONDAY + HOUR) == "scale not checked today: hang the daily weight"


def test_a_daily_check_is_held_to_the_check_it_renews(book: Book) -> None:
    """A weight that agreed with a looser figure does not renew a check whose U it lies outside of."""
    book.file(MONDAY, CHECK, replace(AGREED, indicated_mn=147_900, within_mn=1000))
    assert book.words(MONDAY + HOUR) == "scale not checked today: hang the daily weight"


def test_another_scale_and_another_bench_say_nothing(book: Book) -> None:
    """What was filed of another scale, or by another bench of a scale on the same port, does not count here."""
    book.file(MONDAY, CHECK, AGREED)
    assert book.words(MONDAY + HOUR, name="B") == "scale not checked: nothing is proven"
    book.archive.close()
    book.archive = Archive.open(book.path, bench="Bench 2")
    assert book.words(MONDAY + HOUR) == "scale not checked: nothing is proven"


def test_the_error_of_the_check_before_is_found(book: Book) -> None:
    """Drift is taken from the last check at that target, else from the last whose points lie around it."""
    record = ScaleRecord.of(book.file(MONDAY, CHECK).archive, "A")
    assert record.error_before_un(TARGET_MN) == 10_000
    assert record.error_before_un(73_500) == 30_000
    assert record.error_before_un(200_000) is None
    assert ScaleRecord().error_before_un(TARGET_MN) is None


def test_the_known_weight_is_the_checks_own_nearest(book: Book) -> None:
    """The daily weight offered is that of the full check nearest to the target, with the force it applied there."""
    record = ScaleRecord.of(book.file(MONDAY, CHECK).archive, "A")
    weight = record.known_weight(TARGET_MN)
    assert weight is not None
    assert (weight.text, weight.applied_n) == ("15 kg", 147.1)
    assert record.known_weight(44_482) is None
    assert ScaleRecord().known_weight(TARGET_MN) is None


def test_the_uncertainty_to_renew_is_the_checks_or_the_typed(book: Book) -> None:
    """A daily check is held to the full check in date at its target, else to the typed uncertainty, else to none."""
    record = ScaleRecord.of(book.file(MONDAY, CHECK).archive, "A")
    assert record.to_renew(TYPED, TARGET_MN, MONDAY + HOUR) == ScaleUncertainty(534, 260_000, 10_000)
    assert record.to_renew(TYPED, 44_482, MONDAY + HOUR) == ScaleUncertainty(1000, 500_000)
    assert record.to_renew(UNTYPED, 44_482, MONDAY + HOUR) is None
    assert record.to_renew(UNTYPED, TARGET_MN, MONDAY + 366 * DAY) is None


def test_holds_to_revisit_are_those_since_the_last_agreement(book: Book) -> None:
    """Every hold on this scale since the last daily check that agreed is named by job, piece and day."""
    book.file(MONDAY, OFF, hold(1))
    assert ScaleRecord.of(book.archive, "A").to_revisit(datetime.UTC) == ("26-0001, piece 11, 2026-06-01",)
    book.file(MONDAY + DAY, hold(2), AGREED, hold(3), hold(4, scale="B"))
    book.file(MONDAY + 2 * DAY, hold(5), OFF, hold(6))
    named = ("26-0003, piece 13, 2026-06-02", "26-0005, piece 15, 2026-06-03", "26-0006, piece 16, 2026-06-03")
    assert ScaleRecord.of(book.archive, "A").to_revisit(datetime.UTC) == named
