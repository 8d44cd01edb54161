"""Which line a footswitch moves, or what it sends: found from a press or two, and said in words.

- A contact: the line that came on and went off again. A line that moved once and stayed is no foot. Where several did,
  the foot is asked for again; those that moved both times are wired together, and the first of them is used.
- A contact that opens when it is pressed is not used: at rest it would read as a foot that is down. A line that went
  off and has been off for `REST_US` is at rest: the foot was on the switch at first, and is asked for anew.
- A text: two words, the first with the foot down, the last with it up. Words are lines, or single bytes where there are
  only two, or else what came together. One word alone does not tell when the foot comes up.
- Nothing is settled before the line or the bytes have been quiet for `QUIET_US`; a bounce settles nothing.

>>> foot = FootFinder()
>>> foot.take(LineMoved(0, "cts", True)); foot.take(LineMoved(300_000, "cts", False)); foot.tick(900_000)
>>> foot.found, foot.words
(ContactFoot(line='cts'), 'The foot closes pin 8 (CTS): it is used.')
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from drivers.foot_watch import Line, LineMoved, PedalSaid
from drivers.pedal import PedalText
from drivers.template import shown
from station.units import named

QUIET_US = 500_000
REST_US = 3_000_000
_TOGETHER_US = 25_000  # reads no further apart are one word
_KEPT = 64  # reads
_PINS: Mapping[Line, int] = {"cts": 8, "dsr": 6, "dcd": 1, "ri": 9}  # of the nine-pin plug: TIA-574, from memory
ASK = "Press the footswitch, keep it down for a second, and let it go."


@dataclass(frozen=True)
class ContactFoot:
    """A contact, and the line it moves."""

    line: Line


@dataclass(frozen=True)
class TextFoot:
    """A pedal that sends text: what it sends when the foot goes down and comes up."""

    down: bytes
    up: bytes


class FootFinder:
    """What is known of a footswitch so far; see the module's docstring. Times never run back."""

    def __init__(self) -> None:
        self.words = ASK
        self.found: ContactFoot | TextFoot | None = None
        self._moves: dict[Line, list[bool]] = {}  # of this press
        self._before: set[Line] = set()  # what moved with the press before
        self._said: list[PedalSaid] = []
        self._last_us = 0
        self._is_settled = True

    def take(self, event: LineMoved | PedalSaid) -> None:
        """Take a line that moved, or bytes that came."""
        if self.found is not None:
            return
        self._last_us, self._is_settled = event.at_us, False
        if isinstance(event, LineMoved):
            self._moves.setdefault(event.line, []).append(event.on)
        else:
            self._said = [*self._said, event][-_KEPT:]

    def tick(self, at_us: int) -> None:
        """Let time pass: once it has been quiet, say what the foot did."""
        quiet_us = at_us - self._last_us
        if not self._is_settled and quiet_us >= QUIET_US:
            self._is_settled = True
            if self._moves:
                self._settle_lines()
            else:
                self._settle_words()
        if self._is_settled and quiet_us >= REST_US:
            self._forget_what_rests()

    def _forget_what_rests(self) -> None:
        on = {line: ons for line, ons in self._moves.items() if ons[0] or ons[-1]}
        if len(on) < len(self._moves):
            self._moves, self.words = on, ASK

    def _settle_lines(self) -> None:
        moved = {line: ons for line, ons in self._moves.items() if len(ons) > 1 and ons[0] is not ons[-1]}
        if not moved:
            self.words = f"{_all(self._moves, 'Pin')} moved. Let the footswitch go."
            return
        self._moves = {}
        if not all(ons[0] for ons in moved.values()):
            self.words = (
                f"{_all(moved, 'Pin')} went off first. If the foot was down already, take it off, wait three seconds "
                "and press again; if not, the switch opens where it should close: use its other contact."
            )
            return
        both = self._before & moved.keys()
        if len(moved) == 1 or len(both) == 1:
            line = min(both if len(both) == 1 else moved)
            self.found = ContactFoot(line)
            self.words = f"The foot closes {_all([line])}: it is used."
        elif self._before == moved.keys():
            line = min(moved, key=list(_PINS).index)
            self.found = ContactFoot(line)
            self.words = f"{_all(moved, 'Pin')} moved both times: they are wired together, and {_all([line])} is used."
        else:
            self._before = set(moved)
            self.words = f"{_all(moved, 'Pin')} moved. Press once more, and touch nothing but the footswitch."

    def _settle_words(self) -> None:
        words = _words(self._said)
        each = list(dict.fromkeys(words))
        told = ", ".join(shown(word[:20]) for word in each[:4])
        if len(each) == 1:
            self.words = (
                f"It sends {told}. Let the footswitch go; if nothing else comes then, it does not tell when the foot "
                "comes up, and cannot be used."
            )
        elif len(each) == 2 and words[0] != words[-1]:
            self._take_text(words[0], words[-1])
        elif len(each) == 2:
            self._said = []
            self.words = f"It sends {told}. Let the footswitch go, and press it once more."
        else:
            self._said = []
            self.words = (
                f"Found {told}{' and more' if len(each) > 4 else ''}; expected one word with the foot down and one "
                "with it up. Is this the footswitch's port, and its speed?"
            )

    def _take_text(self, down: bytes, up: bytes) -> None:
        told = f"{shown(down)} with the foot down and {shown(up)} with it up"
        try:
            PedalText(down, up)
        except ValueError:
            self._said = []
            self.words = f"It sends {told}, and one stands within the other: they cannot be told apart."
            return
        self.found = TextFoot(down, up)
        self.words = f"It sends {told}: these are used."


def pedal_toml(found: ContactFoot | TextFoot, url: str, baud: int, bits: str = "8N1") -> str:
    """Give the [pedal] table of a station file; `bits` are data bits, parity and stop bits."""
    at = f"url = {json.dumps(url)}\n"
    if isinstance(found, ContactFoot):
        return f'[pedal]\nkind = "contact"\n{at}line = "{found.line}"\n'
    down, up = (json.dumps(word.decode("latin-1")) for word in (found.down, found.up))
    at += f'baud = {baud}\nbytesize = {bits[0]}\nparity = "{bits[1]}"\nstopbits = {bits[2]}\n'
    return f'[pedal]\nkind = "text"\n{at}down = {down}\nup = {up}\n'


def _words(said: list[PedalSaid]) -> list[bytes]:
    """Give the words in what came, in order."""
    raw = b"".join(each.raw for each in said)
    if re.search(rb"[\r\n]", raw):
        return [word for word in re.split(rb"[\r\n]+", raw) if word]
    if len(set(raw)) <= 2:
        return [raw[at : at + 1] for at in range(len(raw))]
    words: list[bytes] = []
    last_us = said[0].at_us - _TOGETHER_US - 1
    for each in said:
        if each.at_us - last_us > _TOGETHER_US:
            words.append(b"")
        words[-1] += each.raw
        last_us = each.at_us
    return words


def _all(lines: Iterable[Line], pin: str = "pin") -> str:
    """Name lines by the pins of the plug, in the order of its usual use."""
    return named(pin, (f"{_PINS[line]} ({line.upper()})" for line in _PINS if line in lines))
