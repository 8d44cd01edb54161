"""What the bench shows in each step: the one sentence, the number, the words beside it, the card and the drawing.

A pure function of the bench model. Every sentence is one that a rigger would say; the number is a pull while pulling
and a length while marking, trapping and comparing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from station.bench.bench import Bench
from station.bench.commands import offered
from station.bench.comparison_showing import ComparisonShowing
from station.bench.facts import leg_m, said_of
from station.bench.job import JobStep, Kind, adjustment, chain_of
from station.bench.members import opposite_of
from station.bench.pull_showing import COLD, HANDLE, MAKER, Act, PullShowing
from station.bench.snapshot import (
    CloseUp,
    DrawingState,
    EndMarks,
    Header,
    ListCard,
    Snapshot,
    StepMark,
    StepState,
    Words,
)
from station.linework.drawing import LineDrawing, layout
from station.linework.line_plan import PlannedLine, Step
from station.linework.plan_words import running_end_words
from station.records.entries import Adjusted, HoldByHand, HoldJudged, Overridden
from station.units import Said, named

NEEDLE = "Keep the taper clear of the tack. Hands clear of the needle."


class Showing:
    """Makes snapshots of one bench; the line drawing is laid out once."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._pull = PullShowing(bench)
        self._comparison = ComparisonShowing(bench, self._pull)
        self._said = Said(bench.settings.lengths)
        self._drawings: dict[str, LineDrawing] = {}

    def snapshot(self) -> Snapshot:
        """Give what the bench shows now."""
        bench = self._bench
        state, step = bench.state, bench.step
        steps = state.unit_of(step).steps if step else state.units[-1].steps
        index = steps.index(step) if step else len(steps)
        act = self._act(step)
        if bench.blocked_piece and step and step.kind != "pre-stretch":
            sentence, second, under = self._pull.blocked()
            act = Act(sentence, second=second, under=under)
        if bench.stopped:
            act = Act(
                Words("Stop: nothing more can be recorded", "stop"),
                second=(Words(bench.stopped, "stop"),),
                under="What was done last is not recorded; all before it is safe. Once that is mended, close this "
                "window and open the job again.",
            )
        pulls = bench.watch is not None and bench.watch.phase != "waiting"  # then the hold alone has the sentence
        sentence = act.sentence if pulls else bench.sentence(act.sentence)
        return Snapshot(
            header=self._header(step, index, len(steps)),
            sentence=sentence,
            number=act.number,
            second=act.second,
            arrow=act.arrow,
            under=act.under,
            gauge=act.gauge,
            progress=act.progress,
            card=act.card or self._overview(step),
            drawing=self._lines(step),
            steps=tuple(
                StepMark(each.label, "done" if n < index else "now" if n == index else "to come")
                for n, each in enumerate(steps)
            ),
            caution=act.caution,
            notice=bench.said_beside(sentence),
            recorded=bench.recorded,
            commands=offered(bench),
        )

    # ------------------------------------------------------------------ around the step

    def _header(self, step: JobStep | None, index: int, count: int) -> Header:
        bench = self._bench
        opened, settings = bench.state.opened, bench.settings
        canopy = str(opened.canopy.get("type") or "")
        on = step.trap.host if step and step.kind == "mark" and step.trap else step.line if step else ""
        piece = bench.state.pieces.get(on, "") if step and not step.batch else ""
        scale = settings.scale_words
        needs_pull = step is not None and step.kind in {"pre-stretch", "mark", "set", "compare"}
        if settings.scale is not None and needs_pull and not bench.reading_is_fresh:
            scale = Words("no reading from the scale", "warn")
        line = opened.called
        unit = bench.state.unit_of(step) if step else None
        if bench.state.members and unit:
            names = [each.name for each in bench.state.members]
            line = f"{unit.name}, {names.index(unit.name) + 1} of {len(names)}" if unit.member else unit.name
        return Header(
            line=line,
            piece=f"piece {piece}" if piece else "",
            canopy=canopy,
            step=f"step {min(index + 1, count)} of {count}",
            scale=scale,
            foot=bench.foot_standing(settings.pedal),
        )

    def _overview(self, step: JobStep | None) -> ListCard | None:
        """Give how far a whole set has come: the lines around the one at hand, and how many stand."""
        state = self._bench.state
        if not state.members or step is None:
            return None
        here = state.unit_of(step)
        lines = [unit for unit in state.units if unit.member]
        standing = [unit for unit in lines if state.is_done(unit)]
        at = next((n for n, unit in enumerate(lines) if unit is here), len(standing))
        first = max(0, min(at - 3, len(lines) - 8))
        items: list[tuple[str, StepState]] = []
        for unit in lines[first : first + 8]:
            begun = sum(each.key in state.done for each in unit.steps)
            left = f", {begun} of {len(unit.steps)} steps" if begun and unit not in standing else ""
            shown: StepState = "done" if unit in standing else "now" if unit is here else "to come"
            items.append((f"{unit.name}{left}", shown))
        many = "" if len(lines) == 1 else "s"
        return ListCard(f"{len(standing)} of {len(lines)} line{many} finished", tuple(items))

    def _drawing(self, step: JobStep | None) -> LineDrawing:
        plan = self._bench.state.plan_of(step)
        if plan.settings.name not in self._drawings:
            self._drawings[plan.settings.name] = layout(replace(plan, said=self._said))
        return self._drawings[plan.settings.name]

    def _lines(self, step: JobStep | None) -> DrawingState | None:
        state = self._bench.state
        if state.members and (step is None or not step.line):
            return None  # no line is at hand
        own = (state.unit_of(step),) if state.members and step else state.units
        kinds = {each.key: each for unit in own for each in unit.steps}
        done = [kinds[key] for key in state.done if key in kinds]
        made = {each.trap.trap for each in done if each.trap and each.kind in {"trap", "link loop"}}
        sewn = {trap.trap for each in done if each.kind == "sew" for trap in (*each.also, each.trap) if trap}
        one = step.trap if step and not step.also and step.kind not in {"cut", "pre-stretch", "confirm"} else None
        here = one.trap if one else None
        mark = step.trap.marks[0].name if step and step.trap and step.kind == "mark" else None
        too = {trap.trap for trap in (*step.also, step.trap) if trap} if step and step.also else set()
        return DrawingState(self._drawing(step), frozenset(made), frozenset(sewn), here, mark, frozenset(too))

    # ------------------------------------------------------------------ the steps

    def _act(self, step: JobStep | None) -> Act:
        if step is None:
            return Act(
                Words("Signed off. The record is filed."),
                second=(Words("close this window", "act"), Words("the first page has its record, and the next job")),
                under="The record is opened and printed from the archive.",
                card=self._list_of_records(),
            )
        if step.kind == "pre-stretch" and self._bench.watch:
            return self._pull.pre_stretch(step, self._bench.watch)
        if step.kind == "compare" and self._bench.comparing:
            return self._comparison.compare(step, self._bench.comparing)
        shown: dict[Kind, Callable[[JobStep, Step], Act]] = {
            "cut": self._cut,
            "cut leg": self._cut_leg,
            "link loop": self._trap,
            "mark": self._mark,
            "trap": self._trap,
            "set": self._set,
            "sew": self._sew,
            "adjust": self._adjust,
        }
        if step.trap is not None and step.kind in shown:
            return shown[step.kind](step, step.trap)
        if step.kind == "check":
            return self._check(step)
        return self._plain(step)

    def _plain(self, step: JobStep) -> Act:
        state = self._bench.state
        if step.key == "cause":
            failed = "lines failed or wore" if state.members else "line failed"
            return Act(
                Words(f"Find why the {failed}, and have it put right"),
                second=(
                    Words("burr, link, hook fastener, heat, abrasion?"),
                    Words("look at the neighbours too"),
                ),
                under="Tap when the cause is known and removed.",
            )
        if step.key == "reference" or step.of:
            asked = f"Is the {state.reference}{f' of {step.of}' if step.of else ''} sound?"
            looked = "its condition, its neighbours, the maker's chart;"
            if state.reference == "chart":
                asked = f"Is this the maker's chart{f' for {step.of}' if step.of else ''}?"
                looked = "maker, canopy, size and revision;"
            return Act(
                Words(asked),
                second=(Words(looked), Words("is left meant to equal right?")),
                under="Tap if it is. If not: N, and say what to match instead. Never strip both sides.",
            )
        if step.key == "trial tack":
            first = state.plan.steps[0]
            return self._sewing(f"Try the tack on scrap: {self._tack(first)}", "same line, same thread")
        if step.kind == "inspect":
            return Act(
                Words("A second person inspects the work"),
                second=(Words("from the canopy down, left and right;"), Words("then press I, or the button", "act")),
                under="Never by foot, and never by who did the work. What was found is written down.",
            )
        if step.kind == "sign":
            return Act(
                Words("Sign off the job"),
                second=(Words("look at what was recorded;"), Words("then press S, or the button", "act")),
                under="Never by foot.",
                card=self._list_of_records(),
                caution="You sign for what was done, on whose instructions. " + MAKER,
            )
        if step.kind == "strip":
            return self._strip(step)
        if step.batch:
            return Act(
                Words("Cut the pieces apart, and keep their numbers on them"),
                second=(Words(named("piece", [state.pieces[each] for each in step.batch if each in state.pieces])),),
                under="All that was pulled lay between the grips. Tap when they are apart and numbered.",
                caution=COLD,
            )
        joint = step.trap is not None and step.trap.end == "joint"
        where = f"Bring {step.line} to its attachment"
        if not joint:
            where = f"Put {step.line} on its link, through its grommet, to its attachment"
        return Act(
            Words(where),
            second=(Words("same order, same grommet as its opposite number"), Words("walk the twist out")),
            under="Copy the original. Tap when it hangs right.",
        )

    def _strip(self, step: JobStep) -> Act:
        """Ask for the old line off, or say why it must stay."""
        why = self._bench.state.why_not_strip(step)
        if why:
            return Act(
                Words(f"Leave the old {step.line} on", "stop"),
                second=(Words(why, "stop"),),
                under="Turn to that line with T, or the button; this one waits as it is.",
            )
        return Act(
            Words(f"Take the old {step.line} off"),
            second=(Words("this line alone;"), Words("the other side stays as it is")),
            under="With what joins it. Keep it, and its name on it. Tap when it is off.",
        )

    def _list_of_records(self) -> ListCard:
        return ListCard("recorded", tuple((line, "done") for line in self._recorded()))

    def _recorded(self) -> list[str]:
        """Give what the job's record says, a line for each piece and line."""
        state = self._bench.state
        legs = {trap.leg_piece for plan in state.plans for trap in plan.steps}
        lines = []
        for line, piece in state.pieces.items():
            done = state.done.get(f"{line}: pre-stretch")
            how = {HoldJudged: "held", HoldByHand: "by hand, not measured", Overridden: "passed by name, no hold"}
            none = "no hold of its own" if line in legs else "no hold"
            lines.append(f"{line}, piece {piece}: {how.get(type(done), none)}")
        for line, found in state.comparisons.items():
            if found:
                lines.append(
                    f"{line}: {said_of(found[-1], self._bench.settings.lengths).removeprefix(found[-1].line).strip()}"
                )
        passed = [key for key, fact in state.done.items() if isinstance(fact, Overridden)]
        left = [fact.line for fact in state.done.values() if isinstance(fact, Adjusted) and fact.action == "leave"]
        return [*lines, *(f"passed by name: {key}" for key in passed), *(f"{line}: left as it is" for line in left)]

    def _cut(self, step: JobStep, _: Step) -> Act:
        bench = self._bench
        line = self._planned(step, step.line)
        whole = "" if line.cut_length_m is None else f"In all {self._pull.length(line.cut_length_m)}. "
        if step.batch:
            return Act(
                Words(f"Mark off {step.line} on one length, and number it piece {bench.next_piece}"),
                self._pull.length_number(line.cut_longer_than_old_m),
                (Words("longer than the old line's"), Words("finished length")),
                under=f"{whole}Do not cut yet: one pull for the {len(step.batch)} pieces of this length.",
                caution=COLD,
            )
        return Act(
            Words(f"Cut braid for {step.line}, number it piece {bench.next_piece}"),
            self._pull.length_number(line.cut_longer_than_old_m),
            (Words("longer than the old line's"), Words("finished length")),
            under=f"{whole}Walk out the twist. Tap when it is cut and numbered.",
            caution=COLD,
        )

    def _cut_leg(self, step: JobStep, trap: Step) -> Act:
        length_m = leg_m(self._bench.state, step)
        return Act(
            Words(f"Cut the leg of {trap.host}'s loop, and number it piece {self._bench.next_piece}"),
            self._pull.length_number(length_m),
            (Words("long, of pre-stretched stock,"), Words("both ends tapered", "act")),
            under="Tap when it is cut and numbered.",
            caution=COLD,
        )

    def _end_marks(self, trap: Step) -> EndMarks:
        near, entry = trap.running_end_marks_m
        marks = [(near, self._pull.length(near))]
        if entry is not None:
            marks.append((entry, self._pull.length(entry)))
        note = "bring the second mark onto the first; the middle lies on the link" if entry else "mark and enter here"
        if entry and trap.end == "canopy end":
            note = "bring the second mark onto the first; the middle lies at the attachment"
        return EndMarks(tuple(marks), "marks on the running end, from its free end", note)

    def _trap(self, step: JobStep, trap: Step) -> Act:
        marks = self._end_marks(trap)
        places = " and ".join(label for _, label in marks.marks_m)
        loop = step.kind == "link loop"
        into = "its own braid" if trap.host == trap.guest else trap.host
        guest = trap.guest if trap.leg is None else running_end_words(trap)
        under = f"Running end cold, tapered, inside {into}. Tap when it is trapped."
        if trap.leg_piece:
            into = trap.host
            piece = self._bench.state.pieces.get(trap.leg_piece)
            under = f"Leg: {f'piece {piece}' if piece else self._pull.length(leg_m(self._bench.state, step))}, tapered."
        return Act(
            Words(f"Trap the link loop of {trap.guest}" if loop else f"Trap {guest} into {into}{_which_of_loop(trap)}"),
            self._pull.length_number(trap.trap_m),
            (Words("deep: mark the running end"), Words(f"{places} from its free end", "act")),
            under=under,
            card=marks,
            caution=COLD,
        )

    def _mark(self, step: JobStep, trap: Step) -> Act:
        entry = trap.marks[0]
        label = self._pull.length(entry.offset_m)
        at_canopy = trap.end == "canopy end"
        low, high = trap.shortening_95_m or (trap.shortening_m, trap.shortening_m)
        spread = "" if low == high else f" ({self._pull.length(low)} to {self._pull.length(high)})"
        toward = Words("toward the canopy", "act")
        level = entry.offset_m == 0
        guest = trap.guest if trap.leg is None else running_end_words(trap)
        where: tuple[Words, ...] = ()
        if at_canopy:
            too, where = self._plain_marks(self._planned(step, trap.guest))
            sentence = f"Leave {trap.guest} {'level' if level else f'{label} long'}, then mark it{too}"
        else:
            into = "its own braid" if trap.leg == "running end" else trap.host
            sentence = f"Mark where {guest} enters {into}{_which_of_loop(trap)}"
        reference = self._pull.reference() if at_canopy else f"{self._pull.reference()}'s entry"
        if self._pull.reference() == "chart":
            reference = "chart's length" if at_canopy else "chart's place"
        past = (Words(f"past the {reference},"), toward)
        if level:
            past = (Words("level with the"), Words(reference, "act"))
        return Act(
            Words(sentence),
            self._pull.length_number(entry.offset_m),
            (*past, *where, self._pull.pull_line()),
            None if level else "canopy",
            f"when {guest} is trapped {self._pull.length(trap.trap_m)} deep, {trap.host} shortens by "
            f"{self._pull.length(trap.shortening_m)}{spread}",
            card=CloseUp(entry.offset_m, label, self._pull.reference(), "new line"),
            caution="Tap when the mark is made, under the pull. Long press to go back.",
        )

    def _planned(self, step: JobStep, line_name: str) -> PlannedLine:
        """Give what the plan of a step says of a line."""
        return next(each for each in self._bench.state.plan_of(step).lines if each.name == line_name)

    def _plain_marks(self, line: PlannedLine) -> tuple[str, tuple[Words, ...]]:
        """Name the plain marks made with a line's closing mark, and say where each goes past the reference's own."""
        if not line.marks:
            return "", ()
        places = (
            f"{mark.name} {self._pull.length(mark.offset_m)} past its like"
            if mark.offset_m
            else f"{mark.name} level with its like"
            for mark in line.marks
        )
        return f" and {', '.join(mark.name for mark in line.marks)}", (Words(", ".join(places), "act"),)

    def _set(self, _: JobStep, __: Step) -> Act:
        bench = self._bench
        pull = self._pull.pounds(bench.marking_pull_mn)
        seen = bench.pull_seen and not bench.by_hand
        sentence = Words(f"Set it: milk it smooth, pin it, pull to {pull}")
        second: tuple[Words, ...] = (Words("feel for lumps; see the running end inside"),)
        if bench.by_hand:
            second += (Words("pulled by hand, not measured: tap when set", "quiet"),)
        return Act(
            Words("Pull seen: ease off, then tap", "good") if seen else sentence,
            None if bench.by_hand else self._pull.tension("good" if bench.pull_is_right() else "plain"),
            second,
            under="Count the pins: each one comes back out.",
            gauge=None if bench.by_hand else self._pull.marking_gauge(),
            caution=HANDLE,
        )

    def _sew(self, step: JobStep, trap: Step) -> Act:
        """Ask for a tack, or for all of a line's in one sitting, each with how it is sewn."""
        where = "begin as close as you can to where the end enters"
        if not step.also:
            return self._sewing(f"Sew {trap.trap}: {self._tack(trap)}", where)
        traps = (*step.also, trap)
        act = self._sewing(f"Sew the {len(traps)} tacks, one after the other", where)
        tacks = [self._tack(each) for each in traps]
        alike = len(set(tacks)) == 1
        names = (each.trap if alike else f"{each.trap}: {tack}" for each, tack in zip(traps, tacks, strict=True))
        title = f"each: {tacks[0]}" if alike else "the tacks"
        return replace(act, card=ListCard(title, tuple((name, "now") for name in names)))

    def _tack(self, trap: Step) -> str:
        sewing = trap.sewing
        if sewing is None:
            return "tack as the original"
        kind = "bar tack" if sewing.kind == "bar-tack" else "zigzag"
        return f"{kind}, {self._pull.length(sewing.length_m)}, {sewing.stitches} stitches"

    def _sewing(self, sentence: str, where: str) -> Act:
        if not self._bench.settings.pedal:
            second = Words(where), Words("then press the space bar", "act")
            return Act(Words(sentence), second=second, caution=NEEDLE)
        armed = self._bench.armed_us is not None
        return Act(
            Words(sentence),
            second=(
                Words(where),
                Words("armed: tap when sewn" if armed else "then two taps, two seconds apart, arm the foot", "act"),
            ),
            under="" if armed else "The sewing machine has a foot control of its own: single taps are ignored here.",
            caution=NEEDLE,
        )

    def _adjust(self, step: JobStep, _: Step) -> Act:
        state = self._bench.state
        found = state.comparisons[chain_of(step.line, step.after_sewing)][step.round - 1]
        moved = adjustment(state, step, self._said)
        long = found.difference_um > 0
        unpick = "unpick, " if step.after_sewing else ""
        difference = self._pull.length(abs(found.difference_um) / 1e6)
        if moved.warnings:
            return Act(
                Words(f"New line {difference} {'long' if long else 'short'}: make the end anew", "warn"),
                self._pull.length_number(abs(found.difference_um) / 1e6),
                (Words(moved.warnings[0], "warn"),),
                under="Too much to move. Back to trap it again; or leave it, or pass it, by name and reason.",
            )
        return Act(
            Words(f"New line {difference} {'long' if long else 'short'}: {unpick}{'take in' if long else 'let out'}"),
            self._pull.length_number(moved.move_m),
            (
                Words("draw the running end down," if long else "draw the running end back,"),
                Words("into the trap" if long else "out of the trap", "act"),
            ),
            "link" if long else "canopy",
            f"{self._pull.length(moved.trap_after_m)} will be trapped. Ease off, pull again, compare again.",
            caution="Tap when done. Long press to go back.",
        )

    def _check(self, step: JobStep) -> Act:
        state = self._bench.state
        steps = [each for each in state.unit_of(step).steps if each.kind == "check"]
        number = steps.index(step) + 1
        items: tuple[tuple[str, StepState], ...] = tuple(
            (each.check, "done" if n < number else "now" if n == number else "to come")
            for n, each in enumerate(steps, 1)
        )
        under = f"Made of {named('piece', state.pieces.values())}." if state.pieces else ""
        if state.members:
            pairs = any(opposite_of(state.members, each) for each in state.members)
            both = step.of.endswith("left and right") if step.of else pairs
            under = "Left and right, one after the other." if both else ""
        return Act(
            Words(f"Look, {step.of}: {step.check}" if step.of else f"Look: {step.check}"),
            second=(Words("from the canopy down"), Words("tap when you have seen it", "act")),
            under=under,
            card=ListCard(f"checks, {number} of {len(steps)}", items),
            caution=MAKER,
        )


def _which_of_loop(trap: Step) -> str:
    """Say which of the two traps of a loop in mid-line is meant; of any other trap nothing."""
    if trap.end != "loop":
        return ""
    loop, _, way = trap.trap.removeprefix(f"{trap.host} ").rpartition(" ")
    return f", {way} the {loop}"
