"""Named days at the bench: who pulls what, on which scale, what goes wrong, and which verdict is due.

Each scenario states the hold it is judged by and the verdict and reasons that must come of it, so that tests, the
command that serves it on real ports, and a person trying the program all speak of the same thing. People, lines and
scales are invented. `VirtualBench` plays one.

>>> SCENARIOS["topped-up"].verdict, SCENARIOS["relaxing"].reasons
('held', ('short',))
>>> bench = VirtualBench(SCENARIOS["steady"], seed=1)
>>> b"".join(raw for _, raw in bench.bytes_until(50_000)).splitlines()[-1].decode().split(";")[1:]
['pounds', 'steady']
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Literal

from drivers.events import PedalEdge
from drivers.modbus_rtu import ModbusFormat, question
from drivers.scpi import ScpiFormat
from drivers.text_frames import TextFormat
from simulators.faults import Fault, Wire
from simulators.gauge import GaugeMove, VirtualGauge
from simulators.hand import Grip, Pull, Puller, repeated
from simulators.line import HMPE, POLYESTER, BraidedLine, Stock
from simulators.pedal import FootPedal
from simulators.scale import Key, ScaleModel, Sent, SetZero, SwitchUnit, VirtualScale
from station.units import force_n

Verdict = Literal["held", "unproven", "not-held", "void"]

WORDED = TextFormat(
    frame="{value};{unit};{status}",
    end=b"\r\n",
    units={"pounds": "lbf", "kilos": "kgf", "newtons": "N"},
    status={"steady": "stable", "moving": "unstable", "over": "overload"},
)
CHECKED = TextFormat(
    frame="{value};{unit};{status}*{check}",
    end=b"\r\n",
    units=WORDED.units,
    status=WORDED.status,
    checksum="crc16-modbus",
)
MODBUS = ModbusFormat(
    unit="lbf", register=0, number="float32", status_register=2, status={"0": "overload", "not 0": "stable"}
)
SCPI = ScpiFormat(unit="lbf", query="READ?")
_SCALE = ScaleModel(WORDED, "lbf")

# The keys of a [hold] table: about 30 lbf for 30 s (FAA-H-8083-17, 2005, procedure 7.1.9, step 2.3); the band is
# common practice.
MAIN_LINE = {
    "target": "30 lbf",
    "low": "28 lbf",
    "high": "45 lbf",
    "duration": "30 s",
    "ceiling": "60 lbf",
    "max_gap": "0.25 s",
}


@dataclass(frozen=True)
class Tap:
    """A press of the pedal."""

    at_us: int
    held_us: int = 150_000


@dataclass(frozen=True)
class Scenario:
    """One day at the bench; see the module's docstring.

    `plan`, `taps` and `keys` are in order of time; with `every_us` the pulls and taps come again and again.
    `hold` has the keys of a [hold] table, `uncertainty` is the scale's, expanded, or None where nobody checked it.
    Served on the network, scale and pedal are behind serial servers by RFC 2217, and the pedal is a contact on CTS.
    """

    name: str
    story: str
    verdict: Verdict
    reasons: tuple[str, ...]
    plan: tuple[Pull, ...]
    duration_us: int
    stock: Stock = HMPE
    length_m: float = 3.2
    grip: Grip = "hand"
    tremor_share: float = 0.004
    scale: ScaleModel = _SCALE
    keys: tuple[Key, ...] = ()
    faults: tuple[Fault, ...] = ()
    taps: tuple[Tap, ...] = ()
    every_us: int | None = None
    hold: Mapping[str, str] = field(default_factory=lambda: MAIN_LINE)
    uncertainty: str | None = "0.2 lbf"
    gauge: tuple[GaugeMove, ...] = ()
    served: Literal["here", "network"] = "here"


class VirtualBench:
    """A scenario being played. Every call takes the time in microseconds from its beginning, never running back."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self.scenario = scenario
        plan: Iterable[Pull] = scenario.plan
        if scenario.every_us is not None:
            plan = repeated(plan, scenario.every_us)
        self.line = BraidedLine(seed, scenario.stock, scenario.length_m)
        self.puller = Puller(self.line, scenario.grip, plan, scenario.tremor_share, seed)
        self.scale = VirtualScale(seed, scenario.scale, scenario.keys)
        self.wire = Wire(scenario.faults, seed)
        self.gauge = VirtualGauge(scenario.gauge, seed)
        self._presses = _presses(scenario, FootPedal(seed))
        self._edges: list[PedalEdge] = []

    def bytes_until(self, at_us: int) -> list[Sent]:
        """Give what arrived at the port since the last call; a polled scale sends nothing by itself."""
        return self.wire.carry(self.scale.bytes_until(at_us, self.puller.tension_n), at_us)

    def answer(self, at_us: int, request: bytes) -> list[Sent]:
        """Give what arrives at the port once `request`, or a piece of one, has been sent to the scale."""
        return self.wire.carry(self.scale.answer(at_us, request, self.puller.tension_n), at_us)

    def gauge_until(self, at_us: int) -> list[Sent]:
        """Give what a length gauge has sent since the last call; nothing where the scenario has none."""
        return self.gauge.bytes_until(at_us) if self.scenario.gauge else []

    def edges_until(self, at_us: int) -> list[PedalEdge]:
        """Give every edge of the pedal's contact since the last call."""
        while not self._edges or self._edges[-1].at_us <= at_us:
            press = next(self._presses, None)
            if press is None:
                break
            self._edges += press
        past = [edge for edge in self._edges if edge.at_us <= at_us]
        del self._edges[: len(past)]
        return past


def _presses(scenario: Scenario, pedal: FootPedal) -> Iterator[list[PedalEdge]]:
    again = count(0, scenario.every_us) if scenario.every_us and scenario.taps else (0,)
    for start_us in again:
        for tap in scenario.taps:
            yield pedal.press(start_us + tap.at_us, tap.held_us)


def _s(seconds: float) -> int:
    return round(seconds * 1_000_000)


def _pulls(*steps: tuple[float, float, float]) -> tuple[Pull, ...]:
    """Give a plan from (seconds, pounds, seconds of ramp)."""
    return tuple(Pull(_s(at_s), _lbf(pounds), _s(ramp_s)) for at_s, pounds, ramp_s in steps)


def _lbf(pounds: float) -> float:
    return force_n(f"{pounds} lbf")


_FULL_PULL = _pulls((3, 31, 2), (39, 0, 1.5))  # in the band from the fifth second to the thirty-ninth
_ALL = (
    Scenario(
        "steady",
        "A rigger pulls to 31 lbf, keeps it for more than 30 s and eases off, again and again.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        taps=(Tap(_s(42)),),
        every_us=_s(45),
    ),
    Scenario(
        "too-light",
        "A rigger pulls by feel and counts to thirty in the head: 22 lbf for 20 s.",
        "not-held",
        ("never-in-band",),
        _pulls((3, 22, 1.5), (24.5, 0, 1)),
        _s(30),
    ),
    Scenario(
        "relaxing",
        "A polyester line is drawn to 30 lbf and clamped; it relaxes out of the band before the time is up.",
        "not-held",
        ("short",),
        _pulls((3, 30, 1.5), (45, 0, 1.5)),
        _s(50),
        stock=POLYESTER,
        grip="clamp",
    ),
    Scenario(
        "topped-up",
        "The same clamped line, drawn a little further each time it comes near the lower limit.",
        "held",
        (),
        _pulls((3, 31, 1.5), (8, 31, 0.5), (18, 31, 0.5), (45, 0, 1.5)),
        _s(50),
        stock=POLYESTER,
        grip="clamp",
    ),
    Scenario(
        "dead-weight",
        "A weight of 30 lbf hangs on the line, which lengthens under it and keeps its tension.",
        "held",
        (),
        _pulls((3, 30, 1.5), (40, 0, 1.5)),
        _s(45),
        stock=POLYESTER,
        grip="weight",
    ),
    Scenario(
        "trembling",
        "A tired hand trembles by more than a pound, and stays inside the band.",
        "held",
        (),
        _pulls((3, 33, 2), (39, 0, 1.5)),
        _s(45),
        tremor_share=0.02,
    ),
    Scenario(
        "slow-scale",
        "A good pull on a scale that gives 5 readings a second, which is just often enough.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, rate_hz=5.0),
    ),
    Scenario(
        "too-slow-scale",
        "The same pull on a scale that gives 2 readings a second: between them nobody is watching.",
        "not-held",
        ("short",),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, rate_hz=2.0),
    ),
    Scenario(
        "lagging-filter",
        "The hand slips to 22 lbf for a third of a second; a heavily filtered scale never shows it, and must say so.",
        "held",
        (),
        _pulls((3, 33, 2), (20, 22, 0.05), (20.3, 33, 0.05), (45, 0, 1.5)),
        _s(55),
        scale=replace(_SCALE, response_us=1_000_000),
    ),
    Scenario(
        "polled",
        "A good pull on a scale that speaks only when it is asked.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, request=b"?\r"),
    ),
    Scenario(
        "by-modbus",
        "A good pull on a scale that keeps its force in registers and is read by Modbus RTU.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, format=MODBUS, request=question(MODBUS)),
    ),
    Scenario(
        "by-scpi",
        "A good pull on an instrument that answers SCPI queries, with an error in its queue from before.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, format=SCPI, request=b"READ?\n"),
    ),
    Scenario(
        "on-the-network",
        "A good pull on a scale behind a serial server; the footswitch is a contact on another.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        taps=(Tap(_s(42)),),
        every_us=_s(45),
        served="network",
    ),
    Scenario(
        "drifting-zero",
        "The zero of the scale wanders by 3 lbf in a minute, so it shows no zero after the pull.",
        "void",
        ("zero-not-seen-after",),
        _FULL_PULL,
        _s(50),
        scale=replace(_SCALE, drift_n_per_s=_lbf(0.05)),
        hold={**MAIN_LINE, "zero_limit": "0.5 lbf"},
    ),
    Scenario(
        "zero-pressed",
        "Somebody presses the zero key in mid-hold: from there on the scale shows nothing of the pull.",
        "not-held",
        ("short",),
        _FULL_PULL,
        _s(45),
        keys=(SetZero(_s(18)),),
    ),
    Scenario(
        "unit-switched",
        "Somebody presses the unit key in mid-hold: a good pull, named in two units.",
        "void",
        ("unit-changed",),
        _FULL_PULL,
        _s(45),
        keys=(SwitchUnit(_s(18), "kgf"),),
    ),
    Scenario(
        "overload",
        "The line is jerked past the ceiling and past the capacity of the scale, then held well.",
        "void",
        ("overload", "over-ceiling"),
        _pulls((3, 31, 2), (8, 110, 0.4), (8.6, 31, 0.4), (43, 0, 1.5)),
        _s(50),
    ),
    Scenario(
        "dashes",
        "A scale whose capacity is the ceiling sends dashes while the pull is above it, and no number ever is.",
        "void",
        ("overload",),
        _pulls((3, 31, 2), (8, 66, 0.4), (8.6, 31, 0.4), (43, 0, 1.5)),
        _s(50),
        scale=replace(_SCALE, capacity_n=_lbf(60)),
    ),
    Scenario(
        "duplicate-frames",
        "A cable that brings every third frame twice; the pull is good.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        faults=(Fault("duplicate", every=3),),
    ),
    Scenario(
        "out-of-order",
        "Every fifth frame is overtaken by the one behind it; the pull is good.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        faults=(Fault("swap", every=5),),
    ),
    Scenario(
        "in-bursts",
        "An adapter that passes bytes on every 16 ms, and cuts frames in two; the pull is good.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        faults=(Fault("split", every=7, by_us=3_000), Fault("join", by_us=16_000)),
    ),
    Scenario(
        "garbled",
        "A bad cable: one frame in ten is garbled, which the check in the frame finds; the pull is good.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        scale=replace(_SCALE, format=CHECKED),
        faults=(Fault("garble", every=10),),
    ),
    Scenario(
        "stalled",
        "Nothing comes for a second in mid-hold, then all of it at once: late, but every reading is there.",
        "held",
        (),
        _FULL_PULL,
        _s(45),
        faults=(Fault("stall", from_us=_s(20), until_us=_s(21)),),
    ),
    Scenario(
        "dropout",
        "A second of readings is lost in mid-hold: what was not watched was not held.",
        "not-held",
        ("short",),
        _FULL_PULL,
        _s(45),
        faults=(Fault("drop", from_us=_s(20), until_us=_s(21)),),
    ),
    Scenario(
        "frozen",
        "The indicator freezes at a good number while the hand slips off: it stands stiller than any hand.",
        "not-held",
        ("short",),
        _pulls((3, 31, 2), (12, 0, 0.5)),
        _s(50),
        faults=(Fault("freeze", from_us=_s(10), until_us=_s(45)),),
        hold={**MAIN_LINE, "still_limit": "5 s"},
    ),
    Scenario(
        "two-pulls",
        "The cable comes out in the first pull; after it is back, a second pull is held in full.",
        "held",
        (),
        _pulls((3, 31, 2), (17, 0, 1), (24, 31, 2), (60, 0, 1.5)),
        _s(66),
        faults=(Fault("unplug", from_us=_s(15), until_us=_s(20)),),
    ),
    Scenario(
        "easing-off-slowly",
        "A tiring rigger lets the pull fade away from the twentieth second on.",
        "not-held",
        ("short",),
        _pulls((3, 31, 2), (20, 0, 60)),
        _s(82),
    ),
    Scenario(
        "gauge",
        "Two lines compared under 10 lbf with a length gauge: zeroed on one, read 1/8 in long on the other. No hold.",
        "not-held",
        ("never-in-band",),
        _pulls((2, 10.2, 1), (8, 0, 1), (11, 10.2, 1), (18, 0, 1)),
        _s(20),
        taps=(Tap(_s(6)), Tap(_s(16))),
        gauge=(GaugeMove(0, 100.0), GaugeMove(_s(12.5), 103.175)),
    ),
    Scenario(
        "in-doubt",
        "A weight just above the lower limit: inside the tolerance, and nearer to its edge than the scale can tell.",
        "unproven",
        ("in-doubt",),
        _pulls((3, 28.1, 1.5), (40, 0, 1.5)),
        _s(45),
        grip="weight",
    ),
    Scenario(
        "unchecked-scale",
        "A good pull on a scale that nobody has checked.",
        "unproven",
        ("no-scale-check",),
        _FULL_PULL,
        _s(45),
        uncertainty=None,
    ),
    Scenario(
        "coarse-scale",
        "A good pull on a scale so coarse that no reading of it could prove this band.",
        "unproven",
        ("scale-too-coarse",),
        _pulls((3, 36, 2), (39, 0, 1.5)),
        _s(45),
        scale=replace(_SCALE, resolution_n=_lbf(2)),
        uncertainty="9 lbf",
    ),
)

SCENARIOS: Mapping[str, Scenario] = {scenario.name: scenario for scenario in _ALL}
DEFAULT = "steady"
