"""A scale that speaks Modbus RTU: the question for its registers, its answers as frames, and back to bytes.

An answer of functions 3 and 4 on the line, and a refusal (Modbus over Serial Line V1.02 and Modbus Application
Protocol V1.1b3, from memory):

    | address | function        | bytes | register, register ... | CRC low, CRC high |
    | address | function + 0x80 | exception                      | CRC low, CRC high |

- One question reads the number, and the decimal-point and status registers where the scale has them, so that all of
  them are of one moment; they lie within 125 registers, the most that one question may ask for.
- An answer is told by its address, function, length and CRC. The standard tells it by silences; behind an adapter that
  holds bytes back for milliseconds these cannot be seen, so a gap within an answer breaks nothing and the CRC decides.
  The silence before each question is kept by the link: `gap_us`.
- Registers count from 0, as they go over the line: what many handbooks call 40001 or 30001 is register 0.
- Two registers hold a 32-bit number in one of four orders. A is its most significant byte, D its least: "ABCD" is the
  standard's order, "CDAB" has its words swapped, "BADC" the bytes in them, "DCBA" both.
- The number is multiplied by `factor` and divided by ten to the power that the decimal-point register holds.
- A status bit means what the table says; of several the gravest counts. Where it is overload or fault there is no
  force. A float that is no number is noise, unless the status says why.
- A refusal is noise that says in words what the device objects to.

>>> form = ModbusFormat(unit="lbf", register=0, number="float32")
>>> decoder = ModbusDecoder(form)
>>> decoder.request().hex(" ")
'01 03 00 00 00 02 c4 0b'
>>> decoder.feed(answer(form, 29.5))
[Frame(force=29.5, unit='lbf', status=None)]
>>> decoder.request()[:2] and decoder.feed(refusal(form, 2))[0].why
'the device refuses (exception 2): it has no such register; check register, function and count in its handbook'
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, cast, get_args

from drivers.asking import Answer, AskingDecoder
from drivers.checksums import crc16_modbus
from drivers.events import ForceUnit, Frame, Noise, Status
from drivers.template import FormatFault

Number = Literal["int16", "uint16", "int32", "uint32", "float32"]
WordOrder = Literal["ABCD", "CDAB", "BADC", "DCBA"]

_LONGEST = 256  # bytes in a frame on the line
_MOST_REGISTERS = 125
_MOST_DECIMALS = 9
_CODES: dict[Number, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
_GRAVEST: tuple[Status, ...] = ("fault", "overload", "unstable", "stable")
_BIT = re.compile(r"(?P<not>not )?(?P<bit>[0-9]|1[0-5])")
_REFUSALS = {
    1: "it does not know this function; try function = 4 in place of 3, or 3 in place of 4",
    2: "it has no such register; check register, function and count in its handbook",
    3: "it does not accept this count of registers; check the kind of number in its handbook",
    4: "it has failed; switch it off and on again",
    5: "it is at work on something long; it is asked again",
    6: "it is busy; it is asked again",
    8: "its memory is damaged; have it looked at",
    10: "the gateway has no path to it; check the gateway's settings",
    11: "it does not answer the gateway; check that it is switched on, and its address",
}


def gap_us(baud: int) -> int:
    """Give how long the line must be silent before a question, in microseconds.

    Three and a half characters of 11 bits, and 1750 us above 19200 baud: Modbus over Serial Line V1.02, section
    2.5.1.1 (from memory).
    """
    return 1_750 if baud > 19_200 else math.ceil(3.5 * 11 * 1_000_000 / baud)


@dataclass(frozen=True)
class ModbusFormat:
    """Where a scale keeps its number; see the module's docstring. Raises `FormatFault` for what cannot work.

    `address` is the device's, `function` 3 (holding registers) or 4 (input registers). `status` maps bits of
    `status_register`, "0" the least, to what they mean where they are set, and "not 0" to what it means where not.
    """

    unit: ForceUnit
    register: int
    number: Number
    address: int = 1
    function: Literal[3, 4] = 3
    word_order: WordOrder = "ABCD"
    factor: float = 1.0
    decimals_register: int | None = None
    status_register: int | None = None
    status: Mapping[str, Status] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "status", dict(self.status))
        _refuse_numbers_out_of_range(self)
        _refuse_status(self)
        if self.count > _MOST_REGISTERS:
            raise FormatFault(
                f"register: the registers {self.first} to {self.first + self.count - 1} are {self.count}, "
                f"and one question reads at most {_MOST_REGISTERS}"
            )

    def __hash__(self) -> int:
        return hash((self.unit, self.register, self.number, self.address, self.function))

    @property
    def width(self) -> int:
        """How many registers the number takes."""
        return struct.calcsize(_CODES[self.number]) // 2

    @property
    def first(self) -> int:
        """The first register that is asked for."""
        return min(each for each in (self.register, self.decimals_register, self.status_register) if each is not None)

    @property
    def count(self) -> int:
        """How many registers are asked for."""
        others = [each + 1 for each in (self.decimals_register, self.status_register) if each is not None]
        return max(self.register + self.width, *others, 0) - self.first

    def status_of(self, bits: int) -> Status | None:
        """Give what the bits of the status register mean; None where no bit that is set, or not set, means anything."""
        meant = {status for key, status in self.status.items() if _is_so(key, bits)}
        return next((status for status in _GRAVEST if status in meant), None)


def _is_so(key: str, bits: int) -> bool:
    negated, bit = cast(re.Match[str], _BIT.fullmatch(key)).groups()
    return bool(bits >> int(bit) & 1) != bool(negated)


def _refuse_numbers_out_of_range(form: ModbusFormat) -> None:
    if form.unit not in get_args(ForceUnit):
        raise FormatFault(f"unit: found {form.unit!r}, expected one of {', '.join(get_args(ForceUnit))}")
    if form.number not in _CODES:
        raise FormatFault(f"number: found {form.number!r}, expected one of {', '.join(_CODES)}")
    if not 1 <= form.address <= 247:
        raise FormatFault(f"address: found {form.address}, expected the device's address, 1 to 247")
    if form.function not in {3, 4}:
        raise FormatFault(f"function: found {form.function}, expected 3 (holding registers) or 4 (input registers)")
    if form.word_order not in get_args(WordOrder):
        raise FormatFault(f"word_order: found {form.word_order!r}, expected one of {', '.join(get_args(WordOrder))}")
    if form.width == 1 and form.word_order != "ABCD":
        raise FormatFault(f"word_order: found {form.word_order!r} for a number of one register; it has but one order")
    if not math.isfinite(form.factor) or form.factor == 0:
        raise FormatFault(f"factor: found {form.factor}, expected a plain number other than 0")
    last = {"register": form.width, "decimals_register": 1, "status_register": 1}
    for name, width in last.items():
        register = getattr(form, name)
        if register is not None and not 0 <= register <= 0x10000 - width:
            raise FormatFault(f"{name}: found {register}, expected a register from 0 to {0x10000 - width}")


def _refuse_status(form: ModbusFormat) -> None:
    if form.status and form.status_register is None:
        raise FormatFault("status_register: is missing; expected the register whose bits the status table names")
    if form.status_register is not None and not form.status:
        raise FormatFault('status: is missing; expected what the bits mean, as in { "0" = "stable", "3" = "overload" }')
    for key, status in form.status.items():
        if not _BIT.fullmatch(key):
            raise FormatFault(f'status: found {key!r}, expected a bit from "0" to "15", or "not 0" where it is not set')
        if status not in _GRAVEST:
            raise FormatFault(f"status: {key!r}: found {status!r}, expected one of {', '.join(get_args(Status))}")


# Bytes to frames


class ModbusDecoder(AskingDecoder):
    """Ask for the registers, and read what is answered; see the module's docstring."""

    longest = _LONGEST

    def __init__(self, form: ModbusFormat) -> None:
        super().__init__()
        self.form = form
        self._head = bytes((form.address, form.function, 2 * form.count))
        self._refused = bytes((form.address, form.function | 0x80))

    def _question(self) -> bytes:
        return question(self.form)

    def _find(self, raw: bytes) -> Answer | None:
        heads = ((self._head, len(self._head) + 2 * self.form.count + 2), (self._refused, 5))
        spans = [(stop, start) for head, length in heads for start, stop in _whole(raw, head, length)]
        if not spans:
            return None
        stop, start = min(spans)
        return Answer(start, stop, [self._read(raw[start:stop])])

    def _read(self, raw: bytes) -> Frame | Noise:
        if raw[1] & 0x80:
            objection = _REFUSALS.get(raw[2], "see its handbook")
            return Noise(raw, f"the device refuses (exception {raw[2]}): {objection}")
        registers = raw[3:-2]
        status = self._status(registers)
        if status in {"overload", "fault"}:
            return Frame(None, self.form.unit, status)
        decimals = self._one(registers, self.form.decimals_register)
        if decimals is not None and decimals > _MOST_DECIMALS:
            return Noise(raw, f"the decimal-point register holds {decimals}, expected 0 to {_MOST_DECIMALS}")
        at = 2 * (self.form.register - self.form.first)
        number = _in_order(registers[at : at + 2 * self.form.width], self.form.word_order)
        (value,) = struct.unpack(_CODES[self.form.number], number)
        force = value * self.form.factor / 10 ** (decimals or 0)
        if not math.isfinite(force):
            return Noise(raw, f"found {force} where a number was expected")
        return Frame(force, self.form.unit, status)

    def _status(self, registers: bytes) -> Status | None:
        bits = self._one(registers, self.form.status_register)
        return None if bits is None else self.form.status_of(bits)

    def _one(self, registers: bytes, register: int | None) -> int | None:
        if register is None:
            return None
        at = 2 * (register - self.form.first)
        return int.from_bytes(registers[at : at + 2], "big")

    def _why_none(self, raw: bytes) -> str:
        if raw == self._question():
            return "the adapter sends our own question back"
        length = len(self._head) + 2 * self.form.count + 2
        if raw.startswith(self._head) and len(raw) >= length:
            return f"its CRC is {raw[length - 2 : length].hex()}, and {_crc(raw[: length - 2]).hex()} belongs to it"
        if raw[1:2] == self._head[1:2] and raw[:1] != self._head[:1]:
            return f"an answer of the device with address {raw[0]}, expected {self.form.address}"
        return "broke off within an answer" if raw.startswith(self._head) else "no answer to the question"


def _whole(raw: bytes, head: bytes, length: int) -> list[tuple[int, int]]:
    """Give where messages of `length` bytes that begin with `head` stand in `raw`, with a CRC that is right."""
    spans = []
    start = raw.find(head)
    while 0 <= start <= len(raw) - length:
        if crc16_modbus(raw[start : start + length]) == 0:  # over a message and its own CRC the remainder is nought
            spans.append((start, start + length))
        start = raw.find(head, start + 1)
    return spans


def _in_order(raw: bytes, order: WordOrder) -> bytes:
    """Put the bytes of a number most significant first."""
    return bytes(raw[order.index(letter)] for letter in "ABCD") if len(raw) == 4 else raw


# To bytes


def _crc(message: bytes) -> bytes:
    return crc16_modbus(message).to_bytes(2, "little")


def question(form: ModbusFormat) -> bytes:
    """Write the question for the registers of a scale."""
    message = struct.pack(">BBHH", form.address, form.function, form.first, form.count)
    return message + _crc(message)


def answer(form: ModbusFormat, force: float, status_bits: int = 0, decimals: int = 0) -> bytes:
    """Write the answer of a scale of this form, as `ModbusDecoder` reads it; registers that nobody reads hold 0.

    A whole number is the nearest that the register can hold. Raises `FormatFault` for a force too large for it.
    """
    registers = bytearray(2 * form.count)
    scaled = force * 10**decimals / form.factor
    try:
        number = struct.pack(_CODES[form.number], scaled if form.number == "float32" else round(scaled))
    except (struct.error, OverflowError):
        raise FormatFault(f"number: {form.number} cannot hold {scaled:g}") from None
    ordered = bytes(number["ABCD".index(letter)] for letter in form.word_order) if form.width == 2 else number
    held = (
        (form.register, ordered),
        (form.decimals_register, decimals.to_bytes(2, "big")),
        (form.status_register, status_bits.to_bytes(2, "big")),
    )
    for register, content in held:
        if register is not None:
            at = 2 * (register - form.first)
            registers[at : at + len(content)] = content
    message = bytes((form.address, form.function, 2 * form.count)) + registers
    return message + _crc(message)


def refusal(form: ModbusFormat, exception: int) -> bytes:
    """Write the answer of a device that refuses the question."""
    message = bytes((form.address, form.function | 0x80, exception))
    return message + _crc(message)
