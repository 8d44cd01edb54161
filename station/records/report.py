"""The report: one job as a PDF that a shop files, the same bytes every time it is made.

Page 1 reads like a page of a logbook: what, whose, what was done, on what basis, what came out, and room to sign in
ink. The annex holds every measurement and every entry. What was not recorded is said to be not recorded. No clock is
read and nothing is left to chance, so the same job gives the same file, and the file can be hashed.

The anchor printed on every page is the hash of the job's last entry: it stands for that entry and all before it, and
it stays the same however many jobs follow.

>>> empty = JobSheet.of("26-0001", [])
>>> pdf = report(empty, {}.__getitem__, paper="a4")
>>> pdf[:5], pdf == report(empty, {}.__getitem__, paper="a4")
(b'%PDF-', True)
"""

from __future__ import annotations

import bisect
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    KeepInFrame,
    KeepTogether,
    PageBreak,
    Spacer,
    Table,
)

from station.measuring.hold import ScaleUncertainty
from station.measuring.trace import Trace
from station.records.entries import (
    Adjusted,
    Checked,
    Entry,
    HoldJudged,
    LineCompared,
    MarkMade,
    Tacked,
    TrapMade,
)
from station.records.job_sheet import JobSheet, Told, facts_of, went_as_asked
from station.records.label import AnchorCode
from station.records.paper import (
    BAND,
    CEILING,
    CODE,
    FONT,
    FOOT,
    HEADING,
    LABEL,
    MARGIN,
    NO_PADDING,
    PAPERS,
    SECTION,
    SOFT,
    STATE,
    STRONG,
    TITLE,
    TITLE_RIGHT,
    TOP,
    NumberedCanvas,
    box,
    code,
    dated,
    facts_table,
    listed,
    load_fonts,
    on_pages,
    para,
    point,
    table,
)
from station.records.trace_picture import TracePicture, limits_of
from station.records.words import (
    BLIND_SPOTS,
    CAUTIONS,
    DEFERRAL,
    NOT_RECORDED,
    asked,
    compared_how,
    count,
    difference,
    gap,
    groups,
    hold_figures,
    in_words,
    length,
    marked_where,
    numbered,
    tack,
    time_text,
    value,
    verdict,
)
from station.settings.hold import HoldSpecification, SpecificationFault
from station.settings.preferences import Paper

DrawLine = Callable[[float], Sequence[Flowable]]

_GAP = 8.0
_LINES_KEPT_TOGETHER = 60
# Characters of one fact on page 1; all of it stands in the annex.
_LONGEST_FACTS = (180, 120, 80, 60, 44, 32, 24)
_LONGEST_NAME = 70
_LONGEST_SEAL = 16
_LONGEST_RESULT = 600
_LEAST_FOR_RESULT = 42 * mm  # of page 1, however much was said when the job was opened


def report(
    sheet: JobSheet,
    trace_of: Callable[[str], Trace],
    paper: Paper = "letter",
    drawing: DrawLine | None = None,
    checks: Sequence[Told[Entry]] = (),
) -> bytes:
    """Give the report of one job as the bytes of a PDF.

    `trace_of` gives a stored trace by its hash; a RuntimeError or LookupError it raises is printed in the picture's
    place. `drawing` makes the drawing of the line and what goes with it, no wider than the width it is given in points;
    where there is none, marks and traps stand in their tables alone. `checks` are the scale's checks in force
    (`job_sheet`).
    """
    load_fonts()
    size = PAPERS[paper]
    file = io.BytesIO()
    document = on_pages(
        file,
        size,
        f"Record of line work, job {sheet.job}",
        author=sheet.bench or NOT_RECORDED,
        subject=sheet.opened.title if sheet.opened else NOT_RECORDED,
    )
    foot = (
        f"Anchor, the hash of entry {sheet.last_seq}: {groups(sheet.last_hash) or NOT_RECORDED}",
        DEFERRAL,
        f"Recorded by {sheet.opened.software if sheet.opened else NOT_RECORDED}. {_rules(sheet)}",
    )

    def canvas(*args: Any, **kwargs: Any) -> NumberedCanvas:
        return NumberedCanvas(foot, f"Job {sheet.job}", dated(sheet.span[1]), *args, **kwargs)

    pages = _Pages(sheet, trace_of, (size[0] - 2 * MARGIN, size[1] - TOP - FOOT), checks)
    document.build([*pages.first_page(), PageBreak(), *pages.annex(drawing)], canvasmaker=canvas)
    return file.getvalue()


def _rules(sheet: JobSheet) -> str:
    versions = sorted({each.entry.rule_version for each in sheet.of_kind(HoldJudged)})
    if not versions:
        return "No hold was judged."
    return f"Holds judged by rule version {', '.join(map(str, versions))}."


def _cut(words: str, longest: int) -> str:
    """Give words short enough for page 1, saying where the rest stands."""
    more = " ... (in full in the annex)" if longest > 60 else " ... (annex)"
    return words if len(words) <= longest else words[:longest].rstrip() + more


class _Pages:
    def __init__(
        self,
        sheet: JobSheet,
        trace_of: Callable[[str], Trace],
        size: tuple[float, float],
        checks: Sequence[Told[Entry]],
    ) -> None:
        self.checks = checks
        self.sheet = sheet
        self.trace_of = trace_of
        self.width, self.height = size
        self.longest_fact = _LONGEST_FACTS[0]  # on page 1
        self.all_results = False  # whether page 1 has no room for them all, and the annex has them
        self.back = sheet.gone_back_on()

    def first_page(self) -> list[Flowable]:
        sheet = self.sheet
        begun, ended = (at[:10] for at in sheet.span)
        days = (begun if begun == ended else f"{begun} to {ended}") or f"date {NOT_RECORDED}"
        head = [[para("Record of line work", TITLE), para(f"Job {sheet.job}", TITLE_RIGHT)]]
        top: list[Flowable] = [
            table(head, [0.6, 0.4], self.width, NO_PADDING),
            para(f"{sheet.bench or f'bench {NOT_RECORDED}'}; {days} (dates and times are UTC)", LABEL),
            Spacer(1, 5),
            self._state(),
            Spacer(1, 6),
        ]
        below: list[Flowable] = [Spacer(1, 8), self._signatures()]
        left = self.height - self._high([*top, *below, Spacer(1, 6)])
        facts = self._facts(left - _LEAST_FOR_RESULT)
        return [*top, facts, Spacer(1, 6), self._result(left - self._high([facts])), *below]

    def _high(self, flowables: Sequence[Flowable]) -> float:
        """Give how high flowables stand under each other."""
        canvas = Canvas(io.BytesIO())
        return float(sum(each.wrapOn(canvas, self.width, self.height)[1] + each.getSpaceAfter() for each in flowables))

    def _result(self, high: float) -> Flowable:
        """Give what came out, no higher than so: what must be looked at goes before what went as asked."""
        rows = [(label, _cut(words, _LONGEST_RESULT)) for label, words in self.sheet.results()]
        order = sorted(range(len(rows)), key=lambda n: (went_as_asked(*rows[n]), rows[n][0].startswith("piece ")))

        def made(many: int) -> Table:
            shown, left = [rows[n] for n in sorted(order[:many])], [rows[n] for n in order[many:]]
            if left:
                look = sum(not went_as_asked(*each) for each in left)
                how = f"{look} of them NOT plainly as asked" if look else "all of them sound, held or level"
                shown.append(("and more", f"{count(len(left), 'result')} in the annex, {how}"))
            return box("Result", shown, self.width, 0.2)

        if self._high([whole := made(len(rows))]) <= high:
            return whole
        self.all_results = True
        return made(bisect.bisect(range(1, len(rows)), high, key=lambda many: self._high([made(many)])))

    def _state(self) -> Flowable:
        signed = self.sheet.signed_off
        if signed is None:
            lines = [para("NOT SIGNED OFF: this job is not finished", STATE)]
        else:
            certificate = signed.entry.certificate or NOT_RECORDED
            by, certificate = _cut(signed.entry.by, _LONGEST_NAME), _cut(certificate, _LONGEST_NAME)
            lines = [para(f"Signed off by {by}, certificate {certificate}, {time_text(signed.at)}", STATE)]
            lines += [para(_cut(signed.entry.statement, _LONGEST_FACTS[0]))] if signed.entry.statement else []
        lines.append(para(f"Pre-stretch: {self.sheet.holds_in_words()}"))
        colour = BAND if signed else CEILING
        style = [("BOX", (0, 0), (-1, -1), 1.4, colour), ("BOTTOMPADDING", (0, 0), (-1, -1), 5)]
        return table([[lines]], [1], self.width, style)

    def _facts(self, high: float) -> Flowable:
        opened = self.sheet.opened
        if opened is None:
            what = "whose canopy it was, and what was to be done, is not known"
            return para(f"The entry that opens this job is missing or damaged: {what}.", STRONG)
        upper = (("Canopy", "People"), ("Owner", "Work and its basis"))
        lower = (("Line stock",), ("Sewing",), ("Measuring",))
        for longest in _LONGEST_FACTS:
            short = {title: [(label, _cut(said, longest)) for label, said in rows] for title, rows in facts_of(opened)}
            short["Measuring"] = [self._check_named(label, said) for label, said in short["Measuring"]]
            made = [self._beside([self._boxes(titles, short, len(row)) for titles in row]) for row in (upper, lower)]
            parts = [made[0], Spacer(1, 5), made[1]]
            self.longest_fact = longest
            if self._high(parts) <= high:
                break
        return KeepInFrame(self.width, high, parts, mode="shrink")

    def _check_named(self, label: str, said: str) -> tuple[str, str]:
        """Name the scale checks in force where nothing was typed of one: it is recorded all the same."""
        if label != "scale check" or said != NOT_RECORDED or not self.checks:
            return label, said
        numbers = " and ".join(str(each.seq) for each in self.checks)
        return label, f"see {'entry' if len(self.checks) == 1 else 'entries'} {numbers}"

    def _boxes(self, titles: Sequence[str], facts: Mapping[str, list[tuple[str, str]]], columns: int) -> list[Flowable]:
        made = [box(title, facts[title], self._column(columns), 0.36 if columns == 2 else 0.4) for title in titles]
        return [each for one in made for each in (one, Spacer(1, 5))][:-1]

    def _column(self, columns: int) -> float:
        """Give the width of a column where so many stand side by side."""
        return (self.width - _GAP * (columns - 1)) / columns

    def _beside(self, columns: Sequence[Any]) -> Table:
        cells = [each for column in columns for each in (column, "")][:-1]
        widths = [self._column(len(columns)), _GAP] * len(columns)
        shares = [width / self.width for width in widths[: len(cells)]]
        return table([cells], shares, self.width, [("VALIGN", (0, 0), (-1, -1), "TOP"), *NO_PADDING])

    def _signatures(self) -> Flowable:
        people = self.sheet.opened.people if self.sheet.opened else {}
        seal = f"seal symbol: {_cut(str(people.get('seal') or NOT_RECORDED), _LONGEST_SEAL)}"
        boxes = []
        for title, aside in (("Work done by", seal), ("Inspected by", "a second person, where one is asked for")):
            rows = [[para(title, HEADING), para(aside, LABEL)]]
            rows += [[para(what, LABEL), ""] for what in ("signature", "name in full", "certificate, number", "date")]
            style = [
                ("BOX", (0, 0), (-1, -1), 0.6, SOFT),
                ("LINEBELOW", (1, 1), (1, -1), 0.5, SOFT),
                ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
                ("LEFTPADDING", (0, 0), (-1, -1), 5),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LINEBELOW", (1, -1), (1, -1), 0.6, SOFT),
            ]
            boxes.append(table(rows, [0.34, 0.66], self._column(2), style, heights=[16, 28, 18, 18, 20]))
        return self._beside(boxes)

    def annex(self, drawing: DrawLine | None) -> list[Flowable]:
        holds = self.sheet.of_kind(HoldJudged)
        story: list[Flowable] = [
            para("Annex: what was measured, and every entry", TITLE),
            *self._whole_result(),
            para("Pre-stretch holds", SECTION),
            *(KeepTogether(self._hold(f"Hold {n} of {len(holds)}", each)) for n, each in enumerate(holds, 1)),
        ]
        if not holds:
            story.append(para("No hold was judged."))
        if drawing is not None:
            line, *beside = drawing(self.width)
            story += [KeepTogether([para("The line and its marks", SECTION), line]), *beside]
        checks = [[str(each.seq), time_text(each.at), in_words(each.entry)] for each in self.checks]
        story += listed("Scale checks in force", ["entry", "when", "what"], [0.07, 0.21, 0.72], checks, self.width)
        return [*story, *self._work(), *self._limits_of_the_bench(), *self._log(), *self._plan()]

    def _whole_result(self) -> list[Flowable]:
        if not self.all_results:
            return []
        return listed("Result, in full", ["what", "how it came out"], [0.2, 0.8], self.sheet.results(), self.width)

    def _hold(self, title: str, told: Told[HoldJudged]) -> list[Flowable]:
        hold = told.entry
        parts: list[Flowable] = [
            para(f"{title}, {numbered(hold.pieces)}: {verdict(hold.judgement)}", HEADING),
            para(f"entry {told.seq}, {time_text(told.at)}; step {hold.step or NOT_RECORDED}", LABEL),
            para(f"Asked for: {asked(hold.specification)}"),
            Spacer(1, 3),
        ]
        try:
            specification = HoldSpecification.of_facts(hold.specification)
            uncertainty = None if hold.uncertainty is None else ScaleUncertainty.of_facts(hold.uncertainty)
            trace = self.trace_of(hold.trace)
        except LookupError:
            parts.append(para(f"No picture can be drawn: the trace {hold.trace} is missing", STRONG))
        except (RuntimeError, SpecificationFault, TypeError) as fault:
            parts.append(para(f"No picture can be drawn: {fault}", STRONG))
        else:
            limits = limits_of(specification, uncertainty)
            parts.append(TracePicture(trace, specification, limits, hold.judgement, self.width, 56 * mm, FONT))
        aside = f"Judged by rule version {hold.rule_version} from the trace {hold.trace}"
        return [*parts, facts_table(hold_figures(hold), self.width, 2), Spacer(1, 2), para(aside, LABEL), Spacer(1, 10)]

    def _work(self) -> Iterator[Flowable]:
        of = self.sheet.of_kind
        yield from self._listed(
            "Marks",
            ["trap", "mark", "line", "from the reference's place, and the pull"],
            [0.18, 0.14, 0.1, 0.46],
            [(m.seq, m.entry.trap, m.entry.mark, m.entry.line, marked_where(m.entry)) for m in of(MarkMade)],
        )
        yield from self._listed(
            "Traps",
            ["trap", "outside", "inside", "depth"],
            [0.18, 0.14, 0.28, 0.28],
            [(t.seq, t.entry.trap, t.entry.host, t.entry.guest, length(t.entry.trap_um)) for t in of(TrapMade)],
        )
        yield from self._listed(
            "Comparisons with the reference, and what was done about them",
            ["line", "new line", "how, and under what pull"],
            [0.08, 0.28, 0.52],
            [(each.seq, *cells) for each in self.sheet.told if (cells := _comparison(each.entry))],
        )
        yield from self._listed(
            "Tacks",
            ["trap", "tack", "stitches", "length"],
            [0.18, 0.24, 0.14, 0.32],
            [(t.seq, t.entry.trap or "none named", *tack(t.entry)) for t in of(Tacked)],
        )
        yield from self._listed(
            "Checks made and found good", ["check"], [0.88], [(c.seq, c.entry.check) for c in of(Checked)]
        )

    def _listed(self, title: str, heads: list[str], shares: list[float], rows: list[tuple[Any, ...]]) -> list[Flowable]:
        numbered = [[f"{seq}, done again later" if seq in self.back else str(seq), *cells] for seq, *cells in rows]
        return listed(title, ["entry", *heads], [0.12, *shares], numbered, self.width)

    def _limits_of_the_bench(self) -> list[Flowable]:
        spans = [each.entry.judgement for each in self.sheet.of_kind(HoldJudged) if each.entry.judgement.get("count")]
        known = [us for each in spans if (us := each.get("blind_to_us")) is not None]
        points = list(BLIND_SPOTS)
        if known:
            points.insert(0, f"a dip of the pull shorter than {gap(max(known))}, in the hold that saw least")
        if len(known) < len(spans):
            points.insert(0, "a short dip of the pull; how short is not known for every hold")
        anchor = self.sheet.last_hash or NOT_RECORDED
        check = (
            "Every entry was sealed on the one before it, and the anchor, the hash of this job's last entry, stands "
            "for it and for all before it. While the archive gives this anchor, nothing among them was altered, "
            "dropped, added or exchanged since this page was printed. It proves nothing about what was entered, nor "
            "about later entries. To check it:"
        )
        return [
            KeepTogether([para("What the bench cannot see", SECTION), *map(point, points)]),
            KeepTogether([para("Cautions", SECTION), *map(point, (*CAUTIONS, DEFERRAL))]),
            KeepTogether(
                [
                    para("How to check this record", SECTION),
                    self._anchor_beside(
                        [
                            para(check),
                            Spacer(1, 3),
                            para(f'fidbench records verify --archive FILE --anchor "{groups(anchor)}"', CODE),
                        ]
                    ),
                ]
            ),
            KeepTogether([para("Logbook entry", SECTION), para(self.sheet.logbook_line())]),
        ]

    def _anchor_beside(self, words: list[Flowable]) -> Flowable:
        """Give words with the anchor beside them as a code for a camera."""
        if not self.sheet.last_hash:
            return KeepInFrame(self.width, 60 * mm, words)
        across = 30 * mm
        code = AnchorCode(self.sheet.last_hash, across)
        share = across / self.width
        style = [("VALIGN", (0, 0), (-1, -1), "TOP"), *NO_PADDING]
        return table([[words, code]], [1 - share, share], self.width, style)

    def _log(self) -> list[Flowable]:
        rows = [[str(told.seq), time_text(told.at), self._words(told)] for told in self.sheet.told]
        rows += [[str(seq), NOT_RECORDED, f"damaged: {why}"] for seq, why in self.sheet.unreadable]
        rows.sort(key=lambda row: int(row[0]))
        return listed("Every entry, in order", ["entry", "when", "what"], [0.07, 0.21, 0.72], rows, self.width)

    def _words(self, told: Told[Entry]) -> str:
        return in_words(told.entry) + (" (done again later)" if told.seq in self.back else "")

    def _plan(self) -> Iterator[Flowable]:
        opened = self.sheet.opened
        if opened is None:
            return
        long = [
            [f"{title}: {label}", words]
            for title, rows in facts_of(opened)
            for label, words in rows
            if len(words) > self.longest_fact
        ]
        if long:
            yield from listed("Facts too long for page 1", ["what", "in full"], [0.25, 0.75], long, self.width)
        lines = opened.plan_toml.splitlines() or [NOT_RECORDED]
        plan = [para("The line plan, as it was read", SECTION), *map(code, lines)]
        if len(lines) <= _LINES_KEPT_TOGETHER:
            yield KeepTogether(plan)
        else:
            yield CondPageBreak(40 * mm)
            yield from plan


def _comparison(entry: Entry) -> tuple[str, str, str] | None:
    if isinstance(entry, LineCompared):
        return entry.line, difference(entry), compared_how(entry)
    if isinstance(entry, Adjusted) and entry.action == "leave":
        return entry.line, "left as it is", f"by {value(entry.by)}: {value(entry.reason)}"
    if isinstance(entry, Adjusted):
        done = {"take-in": "taken in", "let-out": "let out"}.get(entry.action, entry.action)
        return (
            entry.line,
            f"{done} by {length(entry.move_um)}",
            f"at the canopy end; {length(entry.trap_after_um)} lies trapped",
        )
    return None
