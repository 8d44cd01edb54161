"""Invented moments at an invented bench, one for each state the window must be able to show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from station.bench.snapshot import (
    CloseUp,
    Command,
    CountNumber,
    DrawingState,
    EndMarks,
    Gauge,
    Header,
    LengthNumber,
    ListCard,
    Progress,
    Pull,
    PullsCard,
    Snapshot,
    TensionNumber,
    Words,
)
from tests.station.views.parts import (
    GAUGE,
    HEADER,
    INCH,
    PULLING,
    TAP,
    crowded,
    drawing,
    length,
    looped,
    state,
    steps,
    three,
    trace,
)


def pre_stretch() -> Snapshot:
    """Show a hold that is running."""
    return Snapshot(
        header=HEADER,
        sentence=Words("Pre-stretch, 12 s to go"),
        number=TensionNumber("30.1", "lbf", "good"),
        second=(Words("held 18 s of 30 s", "quiet"),),
        arrow=None,
        under="",
        gauge=GAUGE,
        progress=Progress(18, 30, False),
        card=trace(),
        drawing=state(("A link end",)),
        steps=steps(3),
        caution=PULLING,
        notice=None,
        recorded="link loop trapped, 5 in",
        commands=(),
    )


def topped_up() -> Snapshot:
    """Show a hold that will fall below unless more is pulled."""
    warned = (Words("held 18 s of 30 s", "quiet"), Words("Pull 1 pound more: you fall below in 9 s", "warn"))
    return replace(
        pre_stretch(), second=warned, number=TensionNumber("28.9", "lbf", "warn"), gauge=replace(GAUGE, tension=28.9)
    )


def pull_to() -> Snapshot:
    """Show the wait for a pull."""
    return replace(
        pre_stretch(),
        sentence=Words("Pull to 30 pounds", "act"),
        number=TensionNumber("0.0", "lbf"),
        second=(Words("hold it for 30 s", "quiet"), Words("the time starts by itself", "quiet")),
        gauge=replace(GAUGE, tension=0.0),
        progress=Progress(0, 30, False),
        card=trace(held=None, level=-3),
        commands=("back", "by hand"),
    )


def over_ceiling() -> Snapshot:
    """Show a pull that no line may see."""
    return replace(
        pre_stretch(),
        sentence=Words("Ease off: the line saw 63 pounds", "stop"),
        number=TensionNumber("63.2", "lbf", "stop"),
        second=(Words("The ceiling is 60 lbf. Scrap this piece, or have it released by name.", "stop"),),
        gauge=replace(GAUGE, tension=63.2),
        progress=Progress(18, 30, False),
        notice=Words("This hold is void: a pull over the ceiling.", "stop"),
        commands=("scrap", "release"),
    )


def broken() -> Snapshot:
    """Show a hold that was broken."""
    return replace(
        pre_stretch(),
        sentence=Words("Pull to 30 pounds again", "act"),
        number=TensionNumber("21.8", "lbf", "warn"),
        second=(Words("6 pounds short of the band", "warn"), Words("the time starts anew", "quiet")),
        gauge=replace(GAUGE, tension=21.8),
        progress=Progress(0, 30, False),
        card=trace(held=None, gap=True, level=24),
        notice=Words("The pull fell below 28 lbf after 20 s: those 20 s do not count.", "warn"),
        commands=("back",),
    )


def complete() -> Snapshot:
    """Show a hold whose time is complete."""
    return replace(
        pre_stretch(),
        sentence=Words("Time complete: ease off to finish", "good"),
        number=TensionNumber("30.4", "lbf", "good"),
        second=(Words("held 30 s of 30 s", "good"),),
        progress=Progress(30, 30, True),
        card=replace(trace(held=30), forecast=None),
        recorded="pre-stretch held, 30.0 s, piece 12",
    )


def marking() -> Snapshot:
    """Show where a mark is to be made."""
    return replace(
        pre_stretch(),
        header=replace(HEADER, step="step 8 of 23"),
        sentence=Words("Mark where B enters", "act"),
        number=length(5 / 16 * INCH),
        second=(Words("past the opposite number’s,", "plain"), Words("toward the canopy", "act")),
        arrow="canopy",
        under="when B is trapped 5 in deep, A shortens by this much (1/4 to 3/8)",
        gauge=None,
        progress=None,
        card=CloseUp(5 / 16 * INCH, "5/16 in", "opposite number", "new line"),
        drawing=state(("A link end",), "B into A", "entry"),
        steps=steps(7),
        caution=TAP,
        commands=("done", "back"),
    )


def marking_under_pull() -> Snapshot:
    """Show a mark that is made while the line is pulled, with a sentence that says all of it."""
    return replace(
        marking(),
        sentence=Words(
            "Mark the entry 3/8 in past the opposite number’s, toward the canopy, while you pull 10 pounds", "act"
        ),
        number=length(3 / 8 * INCH),
        gauge=Gauge(10.1, "lbf", 20, 9, 12, 9.2, 11.8, 20),
        card=CloseUp(3 / 8 * INCH, "3/8 in", "opposite number", "new line"),
    )


def leave_long() -> Snapshot:
    """Show how long a line is left before its last trap."""
    return replace(
        marking(),
        sentence=Words("Leave 5/16 in long, then trap", "act"),
        number=length(5 / 16 * INCH),
        second=(Words("longer than the opposite number,"), Words("toward the canopy", "act")),
        under="the trap at the canopy takes this up",
        drawing=state(("A link end", "B into A"), "B canopy end", "entry"),
        steps=steps(12),
    )


def trap_depth() -> Snapshot:
    """Show a trap's depth, with the marks on its running end."""
    marks = ((5 * INCH, "5 in: so far it is trapped"), (8 * INCH, "8 in: the entry, brought onto the first"))
    return replace(
        marking(),
        header=replace(HEADER, step="step 7 of 23"),
        sentence=Words("Trap the running end, 5 in deep", "act"),
        number=length(5 * INCH),
        second=(Words("inside its own line,"), Words("toward the link", "act")),
        arrow="link",
        under="cut cold, to a taper: a melted end is hard and chafes the braid around it",
        card=EndMarks(marks, "marks on the running end", "the middle, 6 1/2 in, lies on the link"),
        drawing=state((), "A link end", None),
        steps=steps(1),
        caution="No flame or hot knife near HMPE. Mind the point of the fid.",
    )


def whole_and_fraction() -> Snapshot:
    """Show a length of whole inches and a fraction."""
    return replace(
        trap_depth(), number=length((5 + 3 / 16) * INCH), sentence=Words("Trap the running end, 5 3/16 in deep")
    )


def metric() -> Snapshot:
    """Show a mark in millimetres and pulls in newtons."""
    return replace(
        marking(),
        header=replace(HEADER, scale=Words("scale checked today, ±0.5 N", "quiet")),
        number=LengthNumber(None, "8"),
        card=CloseUp(0.008, "8 mm", "opposite number", "new line"),
    )


def newtons() -> Snapshot:
    """Show a hold in newtons."""
    gauge = Gauge(133.9, "N", 300, 124.6, 200.2, 126.2, 198.6, 266.9)
    card = trace()
    card = replace(card, tension=card.tension * 4.448, unit="N", top=300, low=124.6, high=200.2, accept_low=126.2,
                   accept_high=198.6, ceiling=266.9, forecast=None)  # fmt: skip
    return replace(topped_up(), number=TensionNumber("133.9", "N", "good"), gauge=gauge, card=card)


def comparing() -> Snapshot:
    """Show two lines being compared under equal pull."""
    gauge = Gauge(10.1, "lbf", 20, 9, 12, 9.2, 11.8, 20)
    pulls = (
        Pull("opposite number", "10.1 lbf", gauge, "good"),
        Pull("new line", "10.0 lbf", replace(gauge, tension=10.0), "good"),
    )
    return replace(
        marking(),
        header=replace(HEADER, line="Centre B, left", piece="piece 13", step="step 15 of 23"),
        sentence=Words("Now the new line, the same pull"),
        number=None,
        second=(
            Words("pull 10.0 lbf: the same", "good"),
            Words("Level? Tap", "act"),
            Words("Long or short? Press long"),
        ),
        arrow=None,
        under="in turn, each alone, on the same board",
        gauge=gauge,
        card=PullsCard("pull, in turn, on the same board", pulls, "the same pull, good for this plan: within 0.7 lbf"),
        drawing=state(("A link end", "B into A", "B canopy end"), "B canopy end", None),
        steps=steps(14),
        caution="Eyes covered; keep out of the line's path. Ease off, never let go.",
        commands=("level", "long or short", "long?", "back"),
    )


def comparing_wrong_pull() -> Snapshot:
    """Show a new line that is not pulled as its opposite number was: no tap is offered."""
    right = comparing()
    assert isinstance(right.card, PullsCard)
    gauge = right.card.pulls[0].gauge
    pulls = (right.card.pulls[0], Pull("new line", "8.2 lbf", replace(gauge, tension=8.2), "warn"))
    return replace(
        right,
        second=(Words("pull 8.2 lbf: not the same yet", "warn"), Words("pull 1.9 pounds more", "act")),
        gauge=replace(gauge, tension=8.2),
        card=replace(right.card, pulls=pulls, note="equal enough for this plan: within 0.7 lbf"),
        commands=("back",),
    )


def counting() -> Snapshot:
    """Show a difference being counted in sixteenths."""
    return replace(
        comparing(),
        sentence=Words("Long by how much? A tap for each sixteenth"),
        number=length(3 / 16 * INCH),
        second=(Words("One more? Tap", "act"), Words("then wait"), Words("Clear? Press long")),
        arrow="canopy",
        commands=("one more", "clear", "long?", "back"),
    )


def take_in() -> Snapshot:
    """Show how much a long line is taken in."""
    settled = comparing()
    assert isinstance(settled.card, PullsCard)
    gauge = settled.card.pulls[0].gauge
    pulls = (settled.card.pulls[0], Pull("new line", "10.0 lbf", replace(gauge, tension=10.0), "good"))
    return replace(
        settled,
        header=replace(settled.header, step="step 16 of 23"),
        sentence=Words("New line 3/16 long: take in", "act"),
        number=length(3 / 16 * INCH),
        second=(Words("draw the running end down,"), Words("into the trap", "act")),
        arrow="link",
        under="5 3/16 in will be trapped. Then ease off, pull again, compare again.",
        card=replace(settled.card, pulls=pulls),
        steps=steps(15),
        caution="Tap when done. Long press to go back.",
        commands=("done", "back"),
    )


def checks() -> Snapshot:
    """Show the list of checks."""
    items = (
        "attachment and its tack", "knot dressed", "cascade and its tack", "link loop and its tack",
        "taper clear of the tack", "line continuity", "order on the link",
        "right grommet, no burr, slider right way up",
        "link closed", "no twist", "thread ends trimmed", "pins counted back", "the old line out",
    )  # fmt: skip
    listed = tuple((item, "done" if n < 4 else "now" if n == 4 else "to come") for n, item in enumerate(items))
    return replace(
        marking(),
        header=replace(HEADER, step="step 22 of 23"),
        sentence=Words("Check: taper clear of the tack", "act"),
        number=CountNumber("5 of 13", "checks"),
        second=(Words("feel for the end of the taper; no stitch may catch it"),),
        arrow=None,
        under="each check takes a tap, once it has been shown for 2 s",
        card=ListCard("from the canopy down", listed),  # type: ignore[arg-type]  # the states are those of the list
        drawing=state(
            ("A link end", "B into A", "B canopy end", "A canopy end"), "B into A", None, ("A link end", "B into A")
        ),
        steps=steps(21),
        caution="A second person inspects a reserve, an emergency or a tandem canopy.",
    )


def cut() -> Snapshot:
    """Show a piece to be cut and numbered."""
    return replace(
        checks(),
        header=replace(HEADER, step="step 1 of 23"),
        sentence=Words("Cut the main line, number it 12", "act"),
        number=length(146.5 * INCH),
        second=(Words("24 in longer than the old one", "quiet"), Words("walk the twists out first")),
        under="8 in of it is spare",
        card=None,
        drawing=DrawingState(drawing(), frozenset(), frozenset(), None, None),
        steps=steps(0),
        notice=None,
        recorded="",
        caution="Cut it cold. No flame or hot knife near HMPE.",
    )


def sewing() -> Snapshot:
    """Show a sewing step that the foot has armed once."""
    return replace(
        checks(),
        sentence=Words("Sew the bar tack, then arm the foot", "act"),
        number=CountNumber("42", "stitches"),
        second=(
            Words("1 in long, from where the running end enters"),
            Words("foot armed by one tap: tap once more", "warn"),
        ),
        under="the machine has a foot of its own: ours does nothing until two taps, 2 s apart",
        header=replace(HEADER, foot=Words("foot asleep", "warn"), step="step 21 of 23"),
        card=ListCard("recorded so far", (("link loop trapped, 5 in", "done"), ("pre-stretch held, 30.0 s", "done"))),
        steps=steps(20),
        caution="Keep the taper clear of the tack. Eyes covered.",
    )


def link_lost() -> Snapshot:
    """Show a bench whose scale went away in mid-hold."""
    return replace(
        pre_stretch(),
        header=replace(HEADER, scale=Words("no scale", "stop")),
        sentence=Words("Ease off: the scale does not answer", "stop"),
        number=TensionNumber("--", "lbf", "stop"),
        second=(Words("no reading for 3 s", "warn"), Words("the bench takes it up again by itself", "quiet")),
        gauge=replace(GAUGE, tension=None),
        progress=Progress(0, 30, False),
        card=trace(held=None, gap=True),
        notice=Words(
            "Link to the scale lost after 18 s: the span is broken. Look at the cable at both ends, then pull again.",
            "stop",
        ),
        commands=("by hand", "back"),
    )


def not_measured() -> Snapshot:
    """Show a hold pulled by hand, with no scale."""
    return replace(
        pre_stretch(),
        header=replace(HEADER, scale=Words("no scale: pulled by hand, not measured", "warn")),
        sentence=Words("Pull by hand, as the maker says, then tap", "act"),
        number=CountNumber("30", "s asked for"),
        second=(
            Words("pulled by hand, not measured", "warn"),
            Words("the record and every report will say so", "quiet"),
        ),
        gauge=None,
        progress=None,
        card=None,
        commands=("done", "back"),
    )


def unproven() -> Snapshot:
    """Show a hold whose scale was not checked."""
    gauge = replace(GAUGE, accept_low=None, accept_high=None)
    card = replace(trace(), accept_low=None, accept_high=None, forecast=None)
    return replace(
        pre_stretch(),
        header=replace(HEADER, scale=Words("scale not checked: nothing is proven", "warn")),
        gauge=gauge,
        card=card,
        number=TensionNumber("30.1", "lbf"),
        second=(Words("held 18 s of 30 s", "quiet"), Words("unproven: no scale check", "warn")),
        notice=Words("Without a scale check a full hold is unproven. Hang one known weight to renew it.", "warn"),
    )


def sign_off() -> Snapshot:
    """Show a job that waits for its signature."""
    recorded = tuple(
        (item, "done")
        for item in ("A pre-stretch held, 30.0 s", "B pre-stretch held, 30.2 s", "B level after 3/16 in taken in",
                     "4 traps made, 4 sewn", "13 checks", "pins counted back: 6 of 6")
    )  # fmt: skip
    return replace(
        checks(),
        header=replace(HEADER, step="step 23 of 23"),
        sentence=Words("Sign off at the keyboard", "act"),
        number=CountNumber("23 of 23", "steps"),
        second=(Words("never by foot", "quiet"), Words("read what has been recorded, then sign")),
        under="the maker’s manual and the rules of your authority come before anything said here",
        card=ListCard("recorded", recorded),  # type: ignore[arg-type]  # the states are those of the list
        drawing=state((), None, None, ("A link end", "B into A", "B canopy end", "A canopy end")),
        steps=steps(22),
        caution="Who may sign is for your authority to say.",
        commands=("sign", "inspect", "back"),
        recorded="inspected by a second person: Mirre Hald",
    )


def program_fault() -> Snapshot:
    """Show a hold that is void because the program failed."""
    return replace(
        pre_stretch(),
        sentence=Words("Ease off, then pull again", "warn"),
        number=TensionNumber("29.7", "lbf", "warn"),
        second=(Words("Void: the program failed while judging.", "warn"),),
        recorded="pre-stretch void, piece 12",
    )


def crowded_line() -> Snapshot:
    """Show a line that carries five others."""
    lying = DrawingState(crowded(), frozenset({"A link end", "B into A"}), frozenset(), "C into A", "entry")
    return replace(marking(), sentence=Words("Mark where C enters", "act"), drawing=lying)


def plain_marks() -> Snapshot:
    """Show a lower control line with its brake loop, whose toggle mark is made with its closing mark."""
    made = frozenset({"lower control link end", "lower control brake loop above"})
    lying = DrawingState(looped(), made, frozenset({"lower control link end"}), "lower control canopy end", "entry")
    second = (
        Words("past the opposite number,"),
        Words("toward the canopy", "act"),
        Words("with it mark toggle: level", "act"),
        Words("pull 10.1 pounds", "good"),
    )
    return replace(
        leave_long(),
        sentence=Words("Leave lower control 5/16 in long, then mark it and toggle"),
        second=second,
        drawing=lying,
    )


def three_lines() -> Snapshot:
    """Show three lines in one cascade, the outermost with a loop in mid-line and two plain marks."""
    lying = DrawingState(three(), frozenset({"A link end", "B into A"}), frozenset(), "C into A", "entry")
    return replace(marking(), sentence=Words("Mark where C enters", "act"), drawing=lying)


def unknown_length() -> Snapshot:
    """Show a line whose length is not known: marks are offsets alone."""
    lying = DrawingState(drawing(False), frozenset({"A link end"}), frozenset(), "B into A", "entry")
    return replace(marking(), drawing=lying)


def many_commands() -> Snapshot:
    """Show as many buttons as any step offers, and long words in every place."""
    offered: tuple[Command, ...] = ("by hand", "override", "scrap", "release", "back")
    return replace(
        link_lost(),
        header=Header("Stabiliser outermost rear right", "piece 112", "Dandelion Tandem 340", "step 14 of 148",
                      Words("scale check out of date: nothing is proven", "warn"), Words("foot away", "warn")),
        commands=offered,
        caution="After an overload or a pull over the ceiling the piece is scrapped, or released by a named person.",
        recorded="pre-stretch not held, 20.4 s of 30 s, piece 112, trace kept",
        under="Pull with a handle or a cleat, eyes covered, and keep out of the path of the line.",
    )  # fmt: skip


GALLERY: dict[str, Callable[[], Snapshot]] = {
    maker.__name__: maker
    for maker in (
        pull_to, pre_stretch, topped_up, over_ceiling, broken, complete, marking, marking_under_pull, leave_long,
        trap_depth, whole_and_fraction, metric, newtons, comparing, comparing_wrong_pull, counting, take_in,
        checks, cut, sewing, link_lost,
        not_measured, unproven, sign_off, program_fault, crowded_line, plain_marks, three_lines,
        unknown_length, many_commands,
    )
}  # fmt: skip
