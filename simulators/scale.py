r"""A scale in the line, as bytes: what a weighing indicator makes of a true tension.

Rules:

- It measures at its own rate, from time 0 on; what it is asked and how often never changes what it measures.
- Between the true tension and the digits stand, in this order: a first-order lag with time constant `response_us`, the
  zero offset and a steady drift, white noise, the zero set by hand, and rounding to the resolution in the unit shown.
- Above its capacity it has no number: dashes, with the status overload. (Judged on the load, not on the shown zero.)
- It says *unstable* while a number moves by more than two of its steps from one reading to the next, else *stable*,
  where its frame has a place for a status.
- A polled scale measures just the same, and speaks only when the request has come in whole.
- Its keys can be pressed: `SetZero` makes the present indication zero, `SwitchUnit` shows another unit.
- An instrument that speaks SCPI answers its query and `SYST:ERR?`; whatever else it hears goes into its error queue,
  and so does what happened before anybody listened. The codes are those of SCPI-99, from memory.
- Every text frame goes through `drivers.text_frames.encode`, so the production decoder always runs.

>>> from drivers.text_frames import TextFormat
>>> plain = ScaleModel(TextFormat(frame="{value}", end=b"\r\n", unit="lbf"), "lbf", rate_hz=10, noise_n=0.0)
>>> sent = VirtualScale(1, plain).bytes_until(100_000, lambda at_us: 133.4466)
>>> [(each.at_us, float(each.raw)) for each in sent]
[(0, 30.0), (100000, 30.0)]
"""

from __future__ import annotations

import math
import random
import struct
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from drivers.checksums import crc16_modbus, written
from drivers.events import ForceUnit, Status
from drivers.modbus_rtu import ModbusFormat, answer, refusal
from drivers.scpi import ScpiFormat
from drivers.text_frames import TextFormat, encode
from station.units import factor

_LBF_N = 4.4482216152605
_MOST_ENCODED = 10_000  # different frames kept ready
_POWERED_UP = '-314,"Save/recall memory lost"'
_UNKNOWN = '-113,"Undefined header"'
_OVERFLOWED = '-350,"Queue overflow"'
_MOST_ERRORS = 10
_QUESTION_BYTES = 8  # of a Modbus question for registers, with its CRC
_LARGEST_REQUEST = 256  # bytes kept while waiting for the rest of a request

Source = Callable[[int], float]
"""The true tension in newtons at a time in microseconds; asked with times that never run back."""


class Sent(NamedTuple):
    """Bytes that left the scale together, and when."""

    at_us: int
    raw: bytes


@dataclass(frozen=True)
class SetZero:
    """The zero key of the scale is pressed."""

    at_us: int


@dataclass(frozen=True)
class SwitchUnit:
    """The unit key of the scale is pressed."""

    at_us: int
    unit: ForceUnit


Key = SetZero | SwitchUnit


@dataclass(frozen=True)
class ScaleModel:
    """A kind of scale: how it measures and what it sends. `request` is what a polled scale waits for."""

    format: TextFormat | ModbusFormat | ScpiFormat
    unit: ForceUnit
    rate_hz: float = 80.0
    resolution_n: float = 0.02 * _LBF_N
    response_us: int = 20_000
    noise_n: float = 0.03
    zero_offset_n: float = 0.0
    drift_n_per_s: float = 0.0
    capacity_n: float = 100 * _LBF_N
    request: bytes = b""

    def __post_init__(self) -> None:
        if min(self.rate_hz, self.resolution_n, self.capacity_n) <= 0:
            raise ValueError(f"found {self}, expected a rate, a resolution and a capacity above zero")
        if min(self.response_us, self.noise_n) < 0:
            raise ValueError(f"found {self}, expected no response and no noise below zero")

    @property
    def period_us(self) -> int:
        """The nominal time between two readings, in microseconds."""
        return round(1_000_000 / self.rate_hz)

    @property
    def settling_us(self) -> int:
        """How long the scale takes to show 95 % of a sudden change: three time constants."""
        return 3 * self.response_us


class VirtualScale:
    """A scale at work; see the module's docstring. `keys` are pressed at their stamps."""

    def __init__(self, seed: int, model: ScaleModel, keys: Iterable[Key] = ()) -> None:
        self.model = model
        self._keys = sorted(keys, key=lambda key: key.at_us)
        self._unit = model.unit
        self._noise = random.Random(f"scale {seed}")  # noqa: S311  # repeatable, no secret
        self._count = 0  # readings measured so far
        self._load_n = 0.0  # what came in last
        self._felt_n: float | None = None  # after the lag
        self._zero_n = 0.0
        self._shown_steps = 0
        self._frame = b""
        self._heard = b""
        self._errors = [_POWERED_UP]
        self._frames: dict[tuple[int, ForceUnit, Status], bytes] = {}  # the same few frames come again and again
        time = 1e6 / model.rate_hz / model.response_us if model.response_us else math.inf
        self._kept, self._mean = math.exp(-time), -math.expm1(-time) / time

    def press(self, key: Key) -> None:
        """Press a key live; one whose stamp has passed counts from the next reading on."""
        self._keys = sorted([*self._keys, key], key=lambda each: each.at_us)

    def bytes_until(self, at_us: int, source: Source) -> list[Sent]:
        """Measure up to and including `at_us`; give what was sent since the last call, one frame each.

        A polled scale sends nothing by itself.
        """
        sent = []
        while (sample_us := round(self._count * 1_000_000 / self.model.rate_hz)) <= at_us:
            self._measure(sample_us, source(sample_us))
            if not self.model.request:
                sent.append(Sent(sample_us, self._frame))
        return sent

    def answer(self, at_us: int, request: bytes, source: Source) -> list[Sent]:
        """Measure up to `at_us`, hear `request`, which may come in pieces, and answer each whole one."""
        self.bytes_until(at_us, source)
        if not self.model.request:
            return []
        if isinstance(self.model.format, ScpiFormat):
            *queries, self._heard = (self._heard + request).split(self.model.format.end)
            self._heard = self._heard[-_LARGEST_REQUEST:]
            said = [self._said(self.model.format, query) for query in queries]
            return [Sent(at_us, each) for each in said if each]
        if isinstance(self.model.format, ModbusFormat):
            self._heard += request
            return [Sent(at_us, each) for each in self._told(self.model.format) if each]
        heard = (self._heard + request).split(self.model.request)
        self._heard = heard[-1][-_LARGEST_REQUEST:]
        return [Sent(at_us, self._frame) for _ in heard[1:]] if self._frame else []

    def _told(self, form: ModbusFormat) -> Iterator[bytes]:
        """Give what a Modbus device answers to each whole question heard: registers that it has, or an exception."""
        while len(self._heard) >= _QUESTION_BYTES and self._frame:
            asked = self._heard[:_QUESTION_BYTES]
            if crc16_modbus(asked) != 0:  # no question begins here
                self._heard = self._heard[1:]
                continue
            self._heard = self._heard[_QUESTION_BYTES:]
            address, function, first, count = struct.unpack(">BBHH", asked[:-2])
            at = first - form.first
            if address != form.address:
                continue
            if function != form.function:
                yield refusal(replace(form, function=function), 1)
            elif at < 0 or count < 1 or at + count > form.count:
                yield refusal(form, 2)
            else:
                message = bytes((address, function, 2 * count)) + self._frame[3 + 2 * at : 3 + 2 * (at + count)]
                yield message + written("crc16-modbus", crc16_modbus(message), "bytes")

    def _said(self, form: ScpiFormat, query: bytes) -> bytes:
        """Give what an instrument says to a query, and nothing to what it does not understand."""
        if query == form.query.encode():
            return self._frame
        if query == b"SYST:ERR?":
            return (self._errors.pop(0) if self._errors else '0,"No error"').encode() + form.end
        self._errors = [*self._errors, _UNKNOWN] if len(self._errors) < _MOST_ERRORS else self._errors
        if len(self._errors) == _MOST_ERRORS:
            self._errors[-1] = _OVERFLOWED
        return b""

    def _measure(self, sample_us: int, load_n: float) -> None:
        felt_n = self._lagged(load_n)
        drift_n = self.model.drift_n_per_s * sample_us / 1e6
        gross_n = felt_n + self.model.zero_offset_n + drift_n + self._noise.gauss(0, self.model.noise_n)
        self._count += 1
        while self._keys and self._keys[0].at_us <= sample_us:
            key = self._keys.pop(0)
            if isinstance(key, SetZero):
                self._zero_n = gross_n
            else:
                self._unit = key.unit
        if gross_n > self.model.capacity_n:
            self._frame = self._encoded(None, "overload")
            return
        steps = round((gross_n - self._zero_n) / self.model.resolution_n)
        word: Status = "unstable" if abs(steps - self._shown_steps) > 2 else "stable"
        self._shown_steps = steps
        said = (steps, self._unit, word)
        if said not in self._frames:
            if len(self._frames) >= _MOST_ENCODED:
                self._frames.clear()
            self._frames[said] = self._encoded(self._shown(steps), word)
        self._frame = self._frames[said]

    def _encoded(self, force: float | None, word: Status) -> bytes:
        """Give the frame, or the answer by Modbus, whose lowest status bit says overload, or by SCPI."""
        if isinstance(self.model.format, ModbusFormat):
            return answer(self.model.format, force or 0.0, status_bits=int(word == "overload"))
        if isinstance(self.model.format, ScpiFormat):
            return (b"9.9E37" if force is None else f"{force:+.6E}".encode()) + self.model.format.end
        return encode(self.model.format, force, self._unit, word)

    def _lagged(self, load_n: float) -> float:
        """Follow the load through the lag, exactly for a load that went in a straight line since the last reading."""
        felt_n = load_n
        if self._felt_n is not None and self.model.response_us:
            kept, mean = self._kept, self._mean
            felt_n = self._felt_n * kept + self._load_n * (mean - kept) + load_n * (1 - mean)
        self._felt_n, self._load_n = felt_n, load_n
        return felt_n

    def _shown(self, steps: int) -> float:
        """Give whole steps as a number of the unit, without the dust of binary floats."""
        step = self.model.resolution_n / float(factor(self._unit, "force"))
        return round(steps * step, max(0, 2 - math.floor(math.log10(step)))) + 0.0
