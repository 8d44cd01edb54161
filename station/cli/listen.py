"""`fidbench listen`: what a scale or pedal really sends, shown safely, and a description proposed that reads it."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import TIME, as_json, print_json, say, warn
from station.records.words import count

if TYPE_CHECKING:
    from drivers.capture import Capture, CaptureLine
    from drivers.proposal import Proposal
    from drivers.questions import Question

# The speeds that weighing indicators are set to, the commonest first; common practice.
SPEEDS = (9600, 4800, 2400, 1200, 19_200, 38_400, 57_600, 115_200)
_A_SPEED_S = 2.0


@click.command()
@click.argument("url")
@click.option("--baud", type=click.IntRange(50, 4_000_000), default=9600, show_default=True, help="The port's speed.")
@click.option("--for", "duration", type=TIME, default="10 s", show_default=True, help="How long to listen.")
@click.option("--capture", metavar="FILE", help="Where to write all that comes, byte for byte.")
@click.option("--try-speeds", is_flag=True, help="Find the speed: try the usual ones, 2 s each.")
@click.option("--ask", is_flag=True, help="Ask a scale that sends nothing by itself: the usual questions, 2 s each.")
@click.option("--pedal", is_flag=True, help="Listen for a footswitch: which line it moves, or what it sends.")
@as_json
def listen(
    url: str,
    baud: int,
    duration: Fraction,
    capture: str | None,
    try_speeds: bool,
    ask: bool,
    pedal: bool,
    as_json: bool,
) -> int:
    """Show what comes from URL, a port, an address or a capture, and propose a description that reads it.

    With --ask, questions are sent. Each only asks for a reading, yet a device may take one for something else: ask
    nothing but a scale, and look at its settings afterwards.

    Exit status 0 when a description is found, 1 when none reads most of what came, 3 when nothing came.
    """
    if duration <= 0:
        raise click.BadParameter("found no time, expected a time above 0 s", param_hint="--for")
    from station.settings.station import url_of

    try:
        url_of(url)
    except ValueError as fault:
        raise click.BadParameter(str(fault), param_hint="URL") from None
    from drivers.capture import is_capture

    if is_capture(url) and (pedal or capture is not None):
        option = "--pedal" if pedal else "--capture"
        raise click.BadParameter(f"{url} is a capture already, expected a port or an address", param_hint=option)
    if pedal:
        if capture is not None or try_speeds or ask:
            raise click.UsageError(
                "--pedal goes with --baud and --for alone: a footswitch is neither asked nor captured"
            )
        from station.cli.foot import listen_for_foot

        return listen_for_foot(url, baud, float(duration), as_json)
    came: set[str] = set()  # the kinds of what came

    def tell(line: CaptureLine) -> None:
        came.add(type(line).__name__)
        (_tell_json if as_json else _tell_text)(line)

    with ExitStack() as stack:
        kept = None
        if capture is not None:
            from drivers.capture import Capture

            kept = stack.enter_context(Capture(capture))
        if try_speeds:
            baud = _speed_of(url)
            warn(f"listening at {baud} baud")
        asked = _question_of(url, baud) if ask else None
        heard = b"".join(_hear(url, baud, float(duration), kept, tell, asked))
    if not heard and not as_json and came == {"LinkLost"}:
        return 3  # it was never open: why, and what to do, has been said
    return _conclude(heard, url, baud, as_json, asked, ask)


def _question_of(url: str, baud: int) -> Question | None:
    """Ask the usual questions, and give the first whose answers are explained."""
    from drivers.questions import QUESTIONS, propose_answers

    for asked in (None, *QUESTIONS.values()):
        heard, lost = _try(url, baud, asked)
        found = propose_answers(asked, heard)
        what = "without a question" if asked is None else f"asked {asked.name}"
        warn(f"{what}: {count(len(heard), 'byte')}, {count(found.explained if found else 0, 'frame')} explained{lost}")
        if found is not None:
            return asked
    return None


def _try(url: str, baud: int, asked: Question | None = None) -> tuple[bytes, str]:
    """Listen for a short while; give what came, and where the port could not be read, why, to be said after it."""
    from drivers.events import LinkLost

    told: list[CaptureLine] = []
    heard = b"".join(_hear(url, baud, _A_SPEED_S, None, told.append, asked))
    lost = [line.why for line in told if isinstance(line, LinkLost)]
    return heard, "".join(f"; {why}" for why in lost[-1:])


def _hear(
    url: str,
    baud: int,
    for_s: float,
    capture: Capture | None,
    tell: Callable[[CaptureLine], None],
    asked: Question | None = None,
) -> Iterator[bytes]:
    """Give the bytes of each read, telling everything as it comes; until the time is over or a person stops it."""
    from drivers.capture import Heard, is_capture, read_capture

    begun_us: int | None = None
    for line in read_capture(url) if is_capture(url) else _wire(url, baud, for_s, capture, asked):
        begun_us = line.at_us if begun_us is None else begun_us
        tell(line._replace(at_us=line.at_us - begun_us))
        if isinstance(line, Heard):
            yield line.raw


def _wire(
    url: str, baud: int, for_s: float, capture: Capture | None, asked: Question | None = None
) -> Iterator[CaptureLine]:
    from station.listening import Ear, unread

    until_s = time.monotonic() + for_s
    with Ear(unread(url, baud, asked), capture=capture) as ear:
        try:
            while (left_s := until_s - time.monotonic()) > 0:
                yield from ear.lines(left_s)
        except KeyboardInterrupt:
            warn("stopped")


def _speed_of(url: str) -> int:
    """Try the usual speeds, and give the one at which a description explains what comes, else the most readable.

    Of speeds at which as little comes the commonest is given.
    """
    from drivers.proposal import propose, readable

    worth: dict[int, float] = {}
    for baud in SPEEDS:
        heard, lost = _try(url, baud)
        proposal = propose(heard)
        share = proposal.explained / proposal.frames if proposal else 0.0
        told = f"{count(len(heard), 'byte')}, {readable(heard):.0%} readable, {share:.0%} of its frames explained"
        warn(f"{baud:7} baud: {told}{lost}")
        if share > 0.9:
            return baud
        worth[baud] = share + readable(heard)
    return max(worth, key=worth.__getitem__)


def _conclude(heard: bytes, url: str, baud: int, as_json: bool, asked: Question | None, try_asking: bool) -> int:
    from drivers.port_faults import holder
    from drivers.proposal import PLAIN_TEXT, readable
    from drivers.questions import propose_answers

    proposal = propose_answers(asked, heard)
    if as_json:
        print_json({"event": "proposal", "bytes": len(heard)} | _answer(proposal, url, baud))
    elif not heard and try_asking:
        warn("nothing came, and no usual question was answered: see in its handbook how it is asked, and its speed")
    elif not heard and (other := holder(url, but_us=True)):
        warn(f"nothing came, and {other} has {url} open too, and takes what comes: close that program")
    elif not heard:
        warn(
            "nothing came. See that it is switched on and sending, and its cable; one that only answers: --ask; "
            "a footswitch: --pedal"
        )
    elif proposal is None:
        say(f"No description reads what came: {count(len(heard), 'byte')}, {readable(heard):.0%} readable.")
        if readable(heard) < PLAIN_TEXT:
            say("Garbled text has the wrong speed or parity: try --try-speeds, or --baud as its handbook says.")
        else:
            say(
                "It is plain text, so the speed is right: listen for longer (--for), with a changing pull on the "
                "scale; else write its frame as its handbook has it."
            )
    else:
        reads = f"{proposal.explained} of {proposal.frames} frames"
        say(
            f"\nThis reads {reads}; write it into the station file:\n"
            if proposal.reads_most
            else f"\nThis reads only {reads}: a beginning, not yet to be used. Its handbook tells what a frame is.\n"
        )
        say(proposal.toml(url, baud))
        for raw in proposal.left:
            say(f"not explained: {_shown(raw)}")
        if proposal.left:
            say("What is not explained is no reading, and the gap it leaves may end a hold.")
    return 3 if not heard else 0 if proposal is not None and proposal.reads_most else 1


def _answer(proposal: Proposal | None, url: str, baud: int) -> dict[str, Any]:
    if proposal is None:
        return {"frames": 0, "explained": 0, "not_explained": [], "frame": None, "scale_toml": None}
    return {
        "frames": proposal.frames,
        "explained": proposal.explained,
        "not_explained": [raw.hex(" ") for raw in proposal.left],
        "frame": proposal.frame,
        "scale_toml": proposal.toml(url, baud),
    }


def _shown(raw: bytes) -> str:
    from drivers.template import shown

    return shown(raw)


def _tell_text(line: CaptureLine) -> None:
    from drivers.capture import Heard
    from drivers.events import LinkUp

    at = f"{line.at_us / 1e6:9.3f} s  "
    if isinstance(line, Heard):
        say(at + _shown(line.raw))
    elif isinstance(line, LinkUp):
        warn(f"{at}{line.url} is open")
    else:
        warn(f"{at}{line.why}: {line.advice}")


def _tell_json(line: CaptureLine) -> None:
    from drivers.capture import Heard
    from drivers.events import LinkUp

    at_s = line.at_us / 1e6
    if isinstance(line, Heard):
        print_json({"event": "heard", "at_s": at_s, "hex": line.raw.hex(" "), "text": _shown(line.raw)})
    elif isinstance(line, LinkUp):
        print_json({"event": "link-up", "at_s": at_s, "url": line.url})
    else:
        print_json({"event": "link-lost", "at_s": at_s, "why": line.why, "advice": line.advice})
