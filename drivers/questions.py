r"""What a silent scale can be asked, and a description proposed from what it answers.

- Nothing here is sent unless a person asks for it: a question may change a device that takes it for something else.
  These only ask for a reading: the letters in common use among weighing indicators, a SCPI query, and the first
  registers by Modbus RTU.
- An answer that no question explains proposes nothing. Which word order a Modbus float has is told by which of the
  four gives forces that can be; where more than one does, the first is given, and the others are named as a guess.

>>> found = propose_answers(QUESTIONS["SCPI: READ?"], b"+2.996000E+01\n" * 5)
>>> found.form.query, found.explained, found.frames
('READ?', 5, 5)
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import get_args

from drivers.events import Frame, Noise
from drivers.modbus_rtu import ModbusDecoder, ModbusFormat, WordOrder, question
from drivers.proposal import FEWEST_FRAMES, Parity, Proposal, propose
from drivers.scpi import ScpiDecoder, ScpiFormat

_LARGEST_FORCE, _LEAST_FORCE = 1e6, 1e-4  # what lies outside, and is not zero, is a float in the wrong order


@dataclass(frozen=True)
class Question:
    """One thing to send, and the form its answers may have; without a form they are text frames."""

    name: str
    raw: bytes
    form: ScpiFormat | ModbusFormat | None = None
    parity: Parity = "N"


def _all() -> Iterator[Question]:
    yield Question("? and CR", b"?\r")
    yield Question("W and CR", b"W\r")
    yield Question("P and CR LF", b"P\r\n")
    yield Question("the enquiry character ENQ", b"\x05")
    for query in ("READ?", "FETCH?"):
        yield Question(f"SCPI: {query}", f"{query}\n".encode(), ScpiFormat(unit="lbf", query=query))
    holding = ModbusFormat(unit="lbf", register=0, number="float32")
    for form, what in ((holding, "holding"), (replace(holding, function=4), "input")):
        yield Question(f"Modbus: {what} registers, even parity", question(form), form, "E")
        yield Question(f"Modbus: {what} registers, no parity", question(form), form, "N")


QUESTIONS: Mapping[str, Question] = {each.name: each for each in _all()}


def propose_answers(asked: Question | None, heard: bytes) -> Proposal | None:
    """Propose a description of what was heard: by itself, or in answer to a question; None where nothing explains it.

    >>> propose_answers(None, b"") is None
    True
    """
    if asked is None:
        return propose(heard)
    match asked.form:
        case None:
            found = propose(heard)
            return None if found is None else replace(found, poll=asked.raw.decode("latin-1"))
        case ScpiFormat():
            return _scpi(asked.form, heard)
        case ModbusFormat():
            return _modbus(asked.form, asked.parity, heard)


def _scpi(form: ScpiFormat, heard: bytes) -> Proposal | None:
    answers = [piece + form.end for piece in heard.split(form.end)[:-1]]
    read: list[Frame | Noise] = []
    for answer in answers:
        decoder = ScpiDecoder(form)
        decoder.request()
        decoder.feed(b'0,"No error"' + form.end)  # its first question is for the errors
        decoder.request()
        read += decoder.feed(answer) or [Noise(answer, "no number")]
    return _counted(form, read, ())


def _modbus(form: ModbusFormat, parity: Parity, heard: bytes) -> Proposal | None:
    fits = []
    for order in get_args(WordOrder):
        ordered = replace(form, word_order=order)
        read = _answers(ordered, heard)
        forces = [frame.force for frame in read if isinstance(frame, Frame) and frame.force is not None]
        if forces and all(force == 0 or _LEAST_FORCE <= abs(force) <= _LARGEST_FORCE for force in forces):
            fits.append((ordered, read))
    if not fits:
        return None
    others = ", ".join(other.word_order for other, _ in fits[1:])
    guesses = ["register 0 and float32 were tried, no other; look at what the scale shows"]
    guesses += [f"word order {others} reads possible forces too; load it and look again"] if others else []
    found = _counted(*fits[0], tuple(guesses))
    return None if found is None else replace(found, parity=parity)


def _answers(form: ModbusFormat, heard: bytes) -> list[Frame | Noise]:
    """Read answers run together, as many as there are."""
    decoder = ModbusDecoder(form)
    read: list[Frame | Noise] = []
    for byte in heard:
        if not decoder.awaiting:
            decoder.request()
        read += decoder.feed(bytes((byte,)))
    return read


def _counted(form: ScpiFormat | ModbusFormat, read: list[Frame | Noise], guesses: tuple[str, ...]) -> Proposal | None:
    explained = sum(isinstance(each, Frame) for each in read)
    left = tuple(dict.fromkeys(each.raw for each in read if isinstance(each, Noise)))[:5]
    return Proposal(form, len(read), explained, left, guesses) if explained >= FEWEST_FRAMES else None
