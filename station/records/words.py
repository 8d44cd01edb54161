"""What was recorded, in words: every kind of entry as one sentence, every figure with its unit.

The terminal and the paper say the same, because both take their words here. They are words for a file, so they say
what was, and not what to do. What was not recorded is said to be not recorded; nothing is filled in.

>>> from station.records.entries import Tacked
>>> in_words(Tacked(job="26-0001", trap="A link end", tack="bar-tack", length_um=25_400, stitches=42))
'A link end: bar tack sewn; length 1 in (25.4 mm), stitches 42'
>>> facts({"maker": "Harrow Cordage", "lot": ""}, STOCK)[:3]
[('maker', 'Harrow Cordage'), ('specification', 'not recorded'), ('strength', 'not recorded')]
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from station.measuring.words import seconds as seconds_text
from station.records.entries import (
    Adjusted,
    Amended,
    Checked,
    DailyChecked,
    Entry,
    HoldByHand,
    HoldCompleted,
    HoldJudged,
    Inspected,
    JobOpened,
    LineCompared,
    LineTurnedTo,
    MarkMade,
    Overridden,
    PieceCut,
    PieceOverpulled,
    PieceReleased,
    PieceScrapped,
    ReferenceChecked,
    ScaleChecked,
    SignedOff,
    StepDone,
    SteppedBack,
    Tacked,
    TrapMade,
    TrapSet,
    TrialCounted,
    TrialLeftOut,
)
from station.units import force_text, length_text

NOT_RECORDED = "not recorded"
NOT_KNOWN = "not known"
BY_HAND = "pulled by hand, not measured"

Labels = Sequence[tuple[str, str]]
CANOPY: Labels = (
    ("kind", "kind"),
    ("make", "make"),
    ("type", "type"),
    ("size", "size"),
    ("serial", "serial number"),
    ("made", "date made"),
    ("jumps", "jumps"),
    ("line_set", "line set fitted"),
)
OWNER: Labels = (("name", "name"), ("address", "address"))
WORK: Labels = (
    ("kind", "kind of work"),
    ("extent", "extent"),
    ("cause", "cause of the damage"),
    ("cause_removed", "cause removed"),
    ("neighbours", "neighbours looked at"),
    ("drop_tests", "drop tests"),
    ("place", "place"),
)
BASIS: Labels = (("document", "maker's document"),)
PEOPLE: Labels = (
    ("worker", "worked"),
    ("supervisor", "supervised by"),
    ("authority", "by the authority of"),
    ("certificate_kind", "certificate"),
    ("certificate", "certificate number"),
    ("rating", "rating"),
    ("seal", "seal symbol"),
)
STOCK: Labels = (
    ("maker", "maker"),
    ("specification", "specification"),
    ("strength", "strength"),
    ("lot", "lot"),
    ("spool", "spool"),
)
SEWING: Labels = (
    ("thread", "thread"),
    ("thread_lot", "thread lot"),
    ("needle", "needle"),
    ("machine", "machine"),
    ("settings", "settings"),
)
MEASURING: Labels = (
    ("cell", "cell"),
    ("indicator", "indicator"),
    ("weights", "weights"),
    ("scale_check", "scale check"),
    ("temperature", "temperature"),
)
LINE: Labels = (("reason", "reason"), ("removed", "removed line's length"))

VERDICTS: Mapping[str, str] = {"held": "held", "unproven": "unproven", "not-held": "not held", "void": "void"}
REASONS: Mapping[str, str] = {
    "clock": "a reading was stamped no later than the one before it",
    "overload": "the scale said that it was overloaded",
    "over-ceiling": "the pull went over the ceiling",
    "unit-changed": "the scale changed its unit",
    "zero-not-seen-before": "no zero was seen before the pull",
    "zero-not-seen-after": "no zero was seen after the pull",
    "program-fault": "the program failed while it judged",
    "no-scale-check": "the scale's uncertainty is not known",
    "scale-too-coarse": "the scale is too coarse to prove so narrow a band",
    "in-doubt": "in the band, but nearer to its edge than the scale can tell",
    "never-in-band": "the pull never came into the band",
    "short": "not long enough in the band",
}
DEFERRAL = "The maker's instructions, local rules and licensed practice come before every figure in this record."
CAUTIONS = (  # common practice
    "Never wrap line round a hand or finger: thin line cuts at 30 lb. Pull with a handle or cleat.",
    "Cover the eyes, keep out of the line's path, ease off and never let go.",
    "No flame and no hot knife near HMPE. Never past the ceiling.",
    "After an overload or a pull over the ceiling the piece is scrapped, or released by a named person with a reason: "
    "nobody can see set-in damage.",
)
# Told in every report beside what the hold itself could not see (its longest unwatched moment).
BLIND_SPOTS = (
    "line outside the grips: only what lay between them was pulled",
    "friction and an off-axis pull between cell and line: 10 degrees off the axis is 1.5 % of the pull",
    "a scale that repeats a value: it cannot be told from a dead weight, unless a still limit was set",
    "whether it was this piece: the piece's number is what the person at the bench entered",
)


def facts(values: Mapping[str, Any], labels: Labels) -> list[tuple[str, str]]:
    """Give labelled facts as words: every label in its order, then whatever else was recorded."""
    known = {key for key, _ in labels}
    more = [(key, key.replace("_", " ")) for key in values if key not in known]
    return [(label, value(values.get(key))) for key, label in (*labels, *more)]


def time_text(at: str) -> str:
    """Give UTC text for a person.

    >>> time_text("2026-03-04T05:06:07.123456Z")
    '2026-03-04 05:06:07 UTC'
    """
    return f"{at[:10]} {at[11:19]} UTC" if at else NOT_RECORDED


def force(mn: int | None) -> str:
    """Give a recorded force in words, in both units.

    >>> force(133_447), force(None)
    ('30.0 lbf (133.4 N)', 'not recorded')
    """
    return NOT_RECORDED if mn is None else f"{force_text(mn / 1000)} ({mn / 1000:.1f} N)"


def fine(mn: int | None) -> str:
    """Give a recorded force that may be a small one, as an uncertainty is.

    >>> fine(890), fine(130)
    ('0.2 lbf (0.9 N)', '0.03 lbf (0.13 N)')
    """
    if mn is None or abs(mn) >= 450:
        return force(mn)
    return f"{force_text(mn / 1000, decimals=2)} ({mn / 1000:.2f} N)"


def length(um: int | None) -> str:
    """Give a recorded length in words, in both systems.

    >>> length(4_763), length(None)
    ('3/16 in (4.8 mm)', 'not recorded')
    """
    return NOT_RECORDED if um is None else f"{length_text(um / 1e6)} ({um / 1000:.1f} mm)"


def seconds(us: int | None) -> str:
    """Give a recorded time in words, cut to tenths: what was not held is not shown as held.

    >>> seconds(29_999_999), seconds(None)
    ('29.9 s', 'not recorded')
    """
    return NOT_RECORDED if us is None else seconds_text(us)


def gap(us: int | None) -> str:
    """Give a short time in words, rounded up: what was not seen is not shown as shorter than it was.

    >>> gap(12_500), gap(None)
    ('0.013 s', 'not recorded')
    """
    return NOT_RECORDED if us is None else f"{-(-us // 1000) / 1000:.3f} s"


def verdict(judgement: Mapping[str, Any]) -> str:
    """Give a recorded verdict with its reasons in words.

    >>> verdict({"verdict": "not-held", "reasons": ["short"]})
    'not held: not long enough in the band'
    """
    named = value(judgement.get("verdict"))
    reasons = judgement.get("reasons") or []
    why = "; ".join(REASONS.get(str(each), str(each)) for each in reasons)
    return VERDICTS.get(named, named) + (f": {why}" if why else "")


def asked(specification: Mapping[str, Any]) -> str:
    """Say what a hold had to be."""
    get = specification.get
    return (
        f"{force(get('target_mn'))} for {seconds(get('duration_us'))}; band {force(get('low_mn'))} "
        f"to {force(get('high_mn'))}; never over {force(get('ceiling_mn'))}"
    )


def in_words(entry: Entry) -> str:
    """Say in one sentence what an entry records."""
    return _WORDS[type(entry)](entry)


def value(found: object) -> str:
    """Give one recorded fact in words."""
    if found is None or found == "":
        return NOT_RECORDED
    if isinstance(found, bool):
        return "yes" if found else "no"
    return str(found)


def groups(anchor: str) -> str:
    """Give a hash in groups, as it is read from paper.

    >>> groups("0123456789abcdef" * 4)[:26]
    '01234567 89abcdef 01234567'
    """
    return " ".join(anchor[n : n + 8] for n in range(0, len(anchor), 8))


def count(number: int, what: str, many: str = "") -> str:
    """Give a number of things; `many` is the word for several, where it is not made with an s.

    >>> count(0, "tack"), count(1, "tack"), count(2, "entry", "entries")
    ('no tacks', '1 tack', '2 entries')
    """
    return f"{number or 'no'} {what if number == 1 else many or what + 's'}"


def numbered(numbers: Sequence[str]) -> str:
    """Name pieces by their numbers."""
    if not numbers:
        return "a piece without a number"
    return f"piece{'' if len(numbers) == 1 else 's'} {', '.join(numbers)}"


def difference(entry: LineCompared) -> str:
    """Say how a line stood against its reference."""
    if entry.difference_um == 0:
        return "level with its reference"
    return f"{length(abs(entry.difference_um))} {'long' if entry.difference_um > 0 else 'short'}"


def compared_how(entry: LineCompared) -> str:
    """Say when, how and under what pulls a line was compared."""
    when = "after sewing" if entry.after_sewing else "before sewing"
    old, new = force(entry.reference_pull_mn), force(entry.line_pull_mn)
    on_reference = "" if entry.method.startswith("by the chart") else f"on the reference {old}, "
    pulls = f"{when}, {entry.method}; pull {on_reference}on the new line {new}"
    if entry.method == "two cells":
        scales = (("first", entry.reference_expanded_mn), ("second", entry.line_expanded_mn))
        pulls += "".join(
            f"; {which} cell {'not checked' if known is None else f'known to ±{fine(known)}'}"
            for which, known in scales
        )
    if entry.reference_gauge_um is None or entry.line_gauge_um is None:
        return pulls
    read = f"{entry.reference_gauge_um / 1000:.2f} mm and {entry.line_gauge_um / 1000:.2f} mm"
    return f"{pulls}; the length gauge read {read}"


def marked_where(entry: MarkMade) -> str:
    """Say where a mark was made, and under what pull."""
    pull = f"under {force(entry.pull_mn)}" if entry.pull_mn is not None else "pull not recorded"
    if entry.offset_um == 0:
        return f"at the reference's place, {pull}"
    toward = "canopy" if entry.offset_um > 0 else "link"
    return f"{length(abs(entry.offset_um))} past the reference's place, toward the {toward}, {pull}"


def hold_figures(hold: HoldJudged) -> list[tuple[str, str]]:
    """Give every figure of a judged hold, as labelled words; 'none' where there is no span to have one."""
    judgement = hold.judgement
    spans, sum_mn = judgement.get("count") or 0, judgement.get("sum_mn") or 0

    def of_span(key: str, words: Callable[[Any], str], without: str = "none") -> str:
        found = judgement.get(key)
        return without if not spans else NOT_KNOWN if found is None else words(found)

    if not hold.specification.get("guarded", True):
        guard = "nothing: a plain decision"
    else:
        guard = NOT_KNOWN if judgement.get("guard_mn") is None else fine(judgement["guard_mn"])
    chance = judgement.get("conformance_ppb")
    worst = NOT_KNOWN if hold.uncertainty is None else "none: no span was complete"
    return [
        ("in the band", seconds(judgement.get("held_us"))),
        ("lowest in the band", of_span("min_mn", force)),
        ("mean in the band", force(round(sum_mn / spans)) if spans else "none"),
        ("highest in the band", of_span("max_mn", force)),
        ("highest pull of all", force(judgement.get("peak_mn"))),
        (
            "scale known to",
            NOT_KNOWN if hold.uncertainty is None else f"±{fine(hold.uncertainty.get('expanded_mn'))}",
        ),
        ("guarded by", guard),
        ("conformance probability", worst if chance is None else f"{chance / 1e9:.6f} at the worst reading"),
        ("largest gap", gap(judgement.get("largest_gap_us"))),
        ("blind to dips under", of_span("blind_to_us", gap, "not worked out")),
        ("messages not readable", str(hold.garbage_frames)),
        ("link lost", "; ".join(hold.links_lost) or "never"),
        ("scale", value(hold.scale)),
    ]


def figures(judgement: Mapping[str, Any]) -> str:
    """Say how long a pull stayed in the band, and between what."""
    if not judgement.get("count"):
        return f"highest pull {force(judgement.get('peak_mn'))}"
    low, high = judgement.get("min_mn"), judgement.get("max_mn")
    return f"{seconds(judgement.get('held_us'))} between {force(low)} and {force(high)}"


def _opened(entry: JobOpened) -> str:
    return f"job opened: {entry.title}; matched to {value(entry.reference)}; written by {value(entry.software)}"


def _judged(entry: HoldJudged) -> str:
    judgement = entry.judgement
    parts = [f"pre-stretch of {numbered(entry.pieces)}: {verdict(judgement)}", figures(judgement)]
    if entry.garbage_frames:
        parts.append(f"{count(entry.garbage_frames, 'message')} of the scale not readable")
    return "; ".join([*parts, *(f"link lost ({why})" for why in entry.links_lost)])


def _mark(entry: MarkMade) -> str:
    return f"{entry.trap}: {entry.mark} marked on {entry.line}, {marked_where(entry)}"


def _compared(entry: LineCompared) -> str:
    return f"{entry.line} compared: {difference(entry)}; {compared_how(entry)}"


def tack(entry: Tacked) -> list[str]:
    """Give a tack's kind, stitches and length; a length or a number of 0 is one that was not known."""
    kind = entry.tack.replace("-", " ") + (", trial on scrap" if entry.trial else "")
    return [kind, str(entry.stitches or NOT_RECORDED), length(entry.length_um or None)]


def _tacked(entry: Tacked) -> str:
    kind, stitches, long = tack(dataclasses.replace(entry, trial=False))
    done = "tried on scrap" if entry.trial else "sewn"
    return f"{entry.trap + ': ' if entry.trap else ''}{kind} {done}; length {long}, stitches {stitches}"


def _step_done(entry: StepDone) -> str:
    what, _, step = entry.step.rpartition(": ")
    done = {
        "cause": "cause of the damage found and removed",
        "reference": "reference looked at",
        "route": f"{what} brought to its attachment, as the original was",
        "set": f"{what}: milked smooth, pinned and pulled",
    }.get(step, f"{entry.step or 'a step'} done")
    return done + (f"; {entry.note}" if entry.note else "")


def overpulled(entry: PieceOverpulled) -> str:
    """Say how a pull went too high outside a judged hold."""
    if entry.pull_mn is None:
        return f"the scale was overloaded outside a judged hold; the ceiling is {force(entry.ceiling_mn)}"
    return f"pulled to {force(entry.pull_mn)}, over the ceiling of {force(entry.ceiling_mn)}, outside a judged hold"


def _overpulled(entry: PieceOverpulled) -> str:
    return f"{numbered(entry.pieces) if entry.pieces else 'the reference'}: {overpulled(entry)}"


def _adjusted(entry: Adjusted) -> str:
    if entry.action == "leave":
        by = f", by {entry.by}: {value(entry.reason)}" if entry.by else ""
        return f"{entry.line} left as it is{by}; {length(entry.trap_after_um)} lies trapped"
    done = {"take-in": "taken in", "let-out": "let out"}.get(entry.action, entry.action)
    left = length(entry.trap_after_um)
    return f"{entry.line} {done} at the canopy end by {length(entry.move_um)}; {left} lies trapped"


def _scale_checked(entry: ScaleChecked) -> str:
    found = fine(entry.uncertainty.get("expanded_mn"))
    named = f"class {entry.scale_class}" if entry.scale_class else "no class"
    return (
        f"scale {value(entry.scale)} checked by {value(entry.by)} with {value(entry.weights)}: "
        f"expanded uncertainty {found} at {force(entry.target_mn)}; {named}, {count(len(entry.points), 'point')}"
    )


def _daily_checked(entry: DailyChecked) -> str:
    agreed = "agreed" if entry.agreed else "DID NOT AGREE"
    return (
        f"scale {value(entry.scale)} with a known weight: {agreed} within {force(entry.within_mn)}; "
        f"{force(entry.indicated_mn)} indicated, {force(entry.known_mn)} known"
    )


def _reference_checked(entry: ReferenceChecked) -> str:
    by = f" by {entry.by}" if entry.by else ""
    state = "sound" if entry.sound else "NOT SOUND"
    instead = f"; matched to the {entry.instead} instead" if entry.instead else ""
    return f"reference ({value(entry.reference)}) looked at{by}: {state}; {value(entry.finding)}{instead}"


def _piece_cut(entry: PieceCut) -> str:
    stock = [f"{name} {found}" for name, found in (("lot", entry.lot), ("spool", entry.spool)) if found]
    return "; ".join([f"piece {entry.piece} cut for {entry.line}, length {length(entry.length_um)}", *stock])


def _trap_set(entry: TrapSet) -> str:
    pull = "pull not recorded" if entry.pull_mn is None else f"under {force(entry.pull_mn)}"
    return f"{entry.trap}: set, {pull}"


def _ended(what: str) -> Callable[[Any], str]:
    return lambda entry: f"piece {entry.piece} {what} by {value(entry.by)}: {value(entry.reason)}"


def _trial(what: str) -> Callable[[Any], str]:
    def words(entry: Any) -> str:
        of = f" of {entry.of_bench}" if entry.of_bench else ""
        trap = f"the trial of {entry.trap} in job {entry.of_job}, entry {entry.trap_seq}{of},"
        return f"{trap} {what} by {value(entry.by)}: {value(entry.reason)}"

    return words


# A kind missing here fails the test that every kind has words.
_WORDS: Mapping[type[Entry], Callable[[Any], str]] = {
    JobOpened: _opened,
    ScaleChecked: _scale_checked,
    DailyChecked: _daily_checked,
    ReferenceChecked: _reference_checked,
    StepDone: _step_done,
    LineTurnedTo: lambda e: f"turned to {e.line}; what was begun stays as it is",
    SteppedBack: lambda e: f"went back on {e.step or 'a step'}: what was recorded for it stands, and it is done again",
    PieceCut: _piece_cut,
    HoldCompleted: lambda e: f"pre-stretch of {numbered(e.pieces)}: time complete, told to ease off",
    HoldJudged: _judged,
    HoldByHand: lambda e: f"{numbered(e.pieces)}: {BY_HAND}, by {value(e.by)}",
    MarkMade: _mark,
    TrapMade: lambda e: f"{e.trap}: {e.guest} trapped {length(e.trap_um)} deep inside {e.host}",
    TrapSet: _trap_set,
    LineCompared: _compared,
    Adjusted: _adjusted,
    Tacked: _tacked,
    Checked: lambda e: f"checked and found good: {e.check}",
    Inspected: lambda e: f"inspected by {value(e.by)}, certificate {value(e.certificate)}: {value(e.finding)}",
    Overridden: lambda e: (
        f"the step {e.step or '(not named)'} was passed without what it asks for, by {value(e.by)}: {value(e.reason)}"
    ),
    PieceOverpulled: _overpulled,
    PieceReleased: _ended("released for use"),
    PieceScrapped: _ended("scrapped"),
    SignedOff: lambda e: f"signed off by {value(e.by)}, certificate {value(e.certificate)}: {value(e.statement)}",
    Amended: lambda e: f"entry {e.seq} put right by {value(e.by)}: {e.text} (because {value(e.reason)})",
    TrialLeftOut: _trial("left out"),
    TrialCounted: _trial("counted again"),
}
