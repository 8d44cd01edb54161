r"""An instrument that speaks SCPI: one query in flight, its numbers as frames, and its error queue read and said.

- A query is asked, and the line that answers it is read: the number in its `field`, counted from 1 between commas.
- Numbers are those of IEEE 488.2 (NR1 `-12`, NR2 `12.5`, NR3 `+1.25E+01`), whole; nothing else is guessed at.
- SCPI-99 (from memory) sends 9.9E37 for more than there is a number for and -9.9E37 for less: an overload, without a
  force. It sends 9.91E37 for not a number: a fault, without a force.
- Where an answer was none, or none came, and at the beginning, the error queue is asked for until it is empty
  (`SYSTem:ERRor?`, at most 20 errors in a row). Each error is noise that gives the instrument's own words; that the
  queue is empty is nobody's concern.
- An answer is at most 256 bytes long.

>>> meter = ScpiDecoder(ScpiFormat(unit="N", query="FETCH?"))
>>> meter.request(), meter.feed(b'0,"No error"\n')
(b'SYST:ERR?\n', [])
>>> meter.request(), meter.feed(b"+1.3345E+02\n")
(b'FETCH?\n', [Frame(force=133.45, unit='N', status=None)])
>>> meter.request(), meter.feed(b"9.9E37\n")
(b'FETCH?\n', [Frame(force=None, unit='N', status='overload')])
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import get_args

from drivers.asking import Answer, AskingDecoder, Events
from drivers.events import ForceUnit, Frame, Noise
from drivers.template import FormatFault, shown

_LONGEST = 256
_ERRORS_IN_A_ROW = 20
_ERROR_QUERY = b"SYST:ERR?"
_NUMBER = re.compile(rb" *+[+-]?+(?:[0-9]++(?>(?:\.[0-9]*+)?)|\.[0-9]++)(?>(?: *+[eE] *+[+-]?+[0-9]++)?) *+")
_ERROR = re.compile(rb' *+(?P<number>[+-]?+[0-9]{1,5}+) *+, *+"(?P<words>[^\r\n]*+)')
_TOO_MUCH, _NOT_A_NUMBER = 9.9e37, 9.91e37
_ROUNDED = 1e-5  # an instrument that counts in 32 bits sends these as the nearest it has


@dataclass(frozen=True)
class ScpiFormat:
    """What an instrument is asked, and how it answers. Raises `FormatFault` for what cannot work.

    `field` says which of the answer's comma-separated fields holds the force; `end` closes queries and answers.
    """

    unit: ForceUnit
    query: str = "FETCH?"
    end: bytes = b"\n"
    field: int = 1

    def __post_init__(self) -> None:
        if self.unit not in get_args(ForceUnit):
            raise FormatFault(f"unit: found {self.unit!r}, expected one of {', '.join(get_args(ForceUnit))}")
        if not re.fullmatch(r"[!-~][ -~]{0,126}", self.query) or "?" not in self.query:
            raise FormatFault(f"query: found {self.query!r}, expected a query of plain letters, as in 'FETCH?'")
        if self.end not in {b"\n", b"\r", b"\r\n"}:
            raise FormatFault(f'end: found {shown(self.end)}, expected "\\n", "\\r" or "\\r\\n"')
        if not 1 <= self.field <= 99:
            raise FormatFault(f"field: found {self.field}, expected which field of the answer, 1 or more")


class ScpiDecoder(AskingDecoder):
    """Ask the query, read its answers and what the instrument has to object; see the module's docstring."""

    longest = _LONGEST

    def __init__(self, form: ScpiFormat) -> None:
        super().__init__()
        self.form = form
        self._errors_wanted = _ERRORS_IN_A_ROW
        self._asking_errors = False

    def request(self) -> bytes:
        """Give the next question; where the last was not answered, that for the error queue."""
        if self.awaiting and not self._asking_errors:
            self._errors_wanted = _ERRORS_IN_A_ROW
        elif self.awaiting:
            self._errors_wanted = 0  # it keeps no error queue, or is away: back to the query
        return super().request()

    def rejoin(self) -> list[Noise]:
        """Say that bytes may be missing from here on; then the error queue comes first."""
        told = super().rejoin()
        self._errors_wanted = _ERRORS_IN_A_ROW
        return told

    def _question(self) -> bytes:
        self._asking_errors = self._errors_wanted > 0
        return self._sent()

    def _sent(self) -> bytes:
        return (_ERROR_QUERY if self._asking_errors else self.form.query.encode()) + self.form.end

    def _find(self, raw: bytes) -> Answer | None:
        echo = self._sent()
        start = len(echo) if raw.startswith(echo) else 0
        at = raw.find(self.form.end, start)
        if at < 0 or at > _LONGEST:
            return None
        stop = at + len(self.form.end)
        line = raw[start:stop]
        return Answer(start, stop, self._error(line) if self._asking_errors else self._value(line))

    def _error(self, raw: bytes) -> Events:
        match = _ERROR.match(raw)
        if match is None:
            self._errors_wanted = 0
            return [Noise(raw, f"found {shown(raw[:40])} where the error queue was asked for")]
        if int(match["number"]) == 0:
            self._errors_wanted = 0
            return []
        self._errors_wanted -= 1
        words = match["words"].rstrip().removesuffix(b'"').decode("ascii", "backslashreplace")
        return [Noise(raw, f"the instrument says: {int(match['number'])}, {words}")]

    def _value(self, raw: bytes) -> Events:
        fields = raw.removesuffix(self.form.end).rstrip(b"\r\n").split(b",")
        text = fields[self.form.field - 1] if len(fields) >= self.form.field else b""
        if not _NUMBER.fullmatch(text):
            self._errors_wanted = _ERRORS_IN_A_ROW
            return [Noise(raw, f"found {shown(text[:40])} where field {self.form.field} should be a number")]
        value = float(text.replace(b" ", b""))
        if math.isclose(value, _NOT_A_NUMBER, rel_tol=_ROUNDED):
            return [Frame(None, self.form.unit, "fault")]
        if abs(value) >= _TOO_MUCH * (1 - _ROUNDED):
            return [Frame(None, self.form.unit, "overload")]
        return [Frame(value, self.form.unit, None)]

    def _why_none(self, raw: bytes) -> str:
        if raw == self._sent():
            return "the instrument sends our own question back; switch its echo off"
        return "broke off within an answer"
