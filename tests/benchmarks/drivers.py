"""How fast frames are decoded, how fast and how soon they come through a port, what idling costs, and what plugs cost.

The ceiling of decoding is bytes in chunks, split at their ends and read by one regular expression and `float`; that of
the live path is bytes read from the same kind of port in chunks and split.
"""

from __future__ import annotations

import os
import queue
import random
import re
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import serial

from drivers.events import LinkLost, LinkUp, PedalUp, Reading
from drivers.link import Link, LinkSettings, PedalLink, PedalLinkSettings
from drivers.pedal import Pedal, Tap
from drivers.text_frames import TextDecoder, TextFormat, encode
from station.app import spare_the_collector
from station.bench.recent import Recent
from station.measuring.hold import typed_uncertainty
from station.measuring.live_hold import LiveHold
from station.measuring.trace import Trace
from station.settings.hold import HoldSpecification
from tests.benchmarks.measuring import figure
from tests.drivers.cables import Cable, Contact, Heard

FORM = TextFormat("{status},{value} {unit}", units={"lb": "lbf"}, status={"ST": "stable", "OL": "overload"})
CHECKED = TextFormat("{status},{value} {unit}*{check}", units=FORM.units, status=FORM.status, checksum="crc16-modbus")
BARE = re.compile(rb"ST, *([0-9.]+) lb")
# Longer than any run here, so that the hold is under way throughout.
SPEC = HoldSpecification("benchmark", 133_447, 124_550, 200_170, 266_893, 3_600_000_000)
COUNT = 200_000
CHUNK = 4096
SENDER = "import os, sys; data = sys.stdin.buffer.read()\nwhile data: data = data[os.write({port}, data):]"


def frames(form: TextFormat, count: int = COUNT) -> bytes:
    """Give a pull in the band, as a scale sends it."""
    return b"".join(encode(form, round(30 + number % 97 / 50, 2), "lbf", "stable") for number in range(count))


def in_chunks(data: bytes) -> list[bytes]:
    """Cut a stream as reads do."""
    return [data[at : at + CHUNK] for at in range(0, len(data), CHUNK)]


def decoded_a_second(form: TextFormat) -> float:
    """Give how many frames of a form are decoded in a second of one core, the best of three runs."""
    chunks, best = in_chunks(frames(form)), 0.0
    for _ in range(3):
        decoder = TextDecoder(form)
        began = time.process_time()
        count = sum(len(decoder.feed(chunk)) for chunk in chunks)
        best = max(best, count / (time.process_time() - began))
    return best


def bare_a_second() -> float:
    """Give the same for a split, a regular expression and `float`."""
    chunks, best = in_chunks(frames(FORM)), 0.0
    for _ in range(3):
        rest, forces = b"", []
        began = time.process_time()
        for chunk in chunks:
            *pieces, rest = (rest + chunk).split(b"\r\n")
            forces += [float(match[1]) for piece in pieces if (match := BARE.fullmatch(piece))]
        best = max(best, len(forces) / (time.process_time() - began))
    return best


@contextmanager
def port() -> Iterator[tuple[int, str]]:
    """Give the device's end of a port, and its name."""
    device, end = os.openpty()
    tty.setraw(end)
    try:
        yield device, os.ttyname(end)
    finally:
        os.close(device)
        os.close(end)


@contextmanager
def sending(device: int, data: bytes) -> Iterator[None]:
    """Send from another process, as fast as the port takes it."""
    process = subprocess.Popen(
        [sys.executable, "-c", SENDER.format(port=device)], stdin=subprocess.PIPE, pass_fds=[device]
    )
    try:
        assert process.stdin is not None
        with suppress(BrokenPipeError):
            process.stdin.write(data)
            process.stdin.close()
        yield
    finally:
        process.kill()
        process.wait()


def read_a_second(data: bytes, count: int) -> float:
    """Give how many frames a second come through a port where they are only read in chunks and split."""
    with port() as (device, name), serial.Serial(name, timeout=1) as reader, sending(device, data):
        got, rest, began = 0, b"", 0.0
        while got < count:
            chunk = reader.read(reader.in_waiting or 1)
            began = began or time.perf_counter()
            *pieces, rest = (rest + chunk).split(b"\r\n")
            got += len(pieces)
        return count / (time.perf_counter() - began)


class Bench:
    """What takes readings at a bench: the hold and the ring that is drawn."""

    def __init__(self) -> None:
        self.hold = LiveHold(SPEC, typed_uncertainty(890), 100_000)
        self.recent = Recent(60_000_000, 250_000)
        self.batches: queue.SimpleQueue[list[Any]] = queue.SimpleQueue()
        self.count = 0

    def take(self, drawn: bool = True) -> None:
        """Take all that waits, at least one batch; the ring is filled where it is drawn."""
        events = self.batches.get(timeout=20)
        with suppress(queue.Empty):
            while True:
                events = events + self.batches.get_nowait()
        readings = [event for event in events if isinstance(event, Reading)]
        if readings:
            self.count += len(readings)
            self.hold.feed(readings)
            if drawn:
                self.recent.add(Trace.of(readings))


@contextmanager
def live(name: str, period_us: int | None = None) -> Iterator[Bench]:
    """Run the whole way from a port to hold and ring."""
    spare_the_collector()  # as whoever opens the links of a station does
    bench = Bench()
    link = Link(LinkSettings(name, period_us=period_us, silence_us=None), TextDecoder(FORM), bench.batches.put)
    link.start()
    try:
        assert isinstance(bench.batches.get(timeout=20)[0], LinkUp)
        yield bench
    finally:
        link.stop()


def lived_a_second(data: bytes, count: int) -> float:
    """Give how many frames a second go the whole way."""
    with port() as (device, name), live(name) as bench, sending(device, data):
        bench.take()
        began, already = time.perf_counter(), bench.count
        while bench.count < count:
            bench.take()
        return (count - already) / (time.perf_counter() - began)


def waits_ms(work: Callable[[], None], times: int) -> list[float]:
    """Give how long each of some runs takes, in order of length."""
    taken = []
    for _ in range(times):
        time.sleep(0.002)
        began = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - began))
    return sorted(taken)


def latency_ms(times: int = 1000) -> tuple[float, float]:
    """Give within how many ms 99 % of frames have gone from their last byte to the hold's outcome, and bare bytes."""
    frame = encode(FORM, 30.0, "lbf", "stable")
    with port() as (device, name), live(name, 12_500) as bench:

        def through() -> None:
            before = bench.count
            os.write(device, frame)
            while bench.count == before:
                bench.take()

        through()
        ours = waits_ms(through, times)
    with port() as (device, name), serial.Serial(name, timeout=1) as reader:

        def bare() -> None:
            os.write(device, frame)
            reader.read(len(frame))

        bare_waits = waits_ms(bare, times)
    at = int(0.99 * times)
    return ours[at], bare_waits[at]


def foot_ms(times: int = 300) -> float:
    """Give within how many ms 99 % of a contact's edges have gone to what the foot did, polled.

    The contact is a port object whose CTS is set here: a pseudo-terminal has no such line, so what a real adapter's
    USB and driver add is not in the figure.
    """
    came: queue.SimpleQueue[list[Any]] = queue.SimpleQueue()
    contact = Contact()
    link = PedalLink(PedalLinkSettings("/dev/benchmark"), came.put, opener=contact)
    link.start()
    try:
        assert isinstance(came.get(timeout=20)[0], PedalUp)
        pedal, taken = Pedal(lockout_us=1), []
        for _ in range(times):
            for down in (True, False):
                time.sleep(0.003 + random.random() / 100)  # noqa: S311 -- anywhere between two looks
                began = time.perf_counter()
                contact.cts = down
                told = [each for event in came.get(timeout=20) for each in pedal.feed(event)]
                taken.append(1000 * (time.perf_counter() - began))
            assert any(isinstance(each, Tap) for each in told)
        return sorted(taken)[int(0.99 * len(taken))]
    finally:
        link.stop()


@contextmanager
def ticking(device: int) -> Iterator[None]:
    """Send a frame 80 times a second from another process."""
    frame = encode(FORM, 30.0, "lbf", "stable")
    ticker = f"import os, time\nwhile True: os.write({device}, {frame!r}); time.sleep(0.0125)"
    process = subprocess.Popen([sys.executable, "-c", ticker], pass_fds=[device])
    try:
        yield
    finally:
        process.kill()
        process.wait()


def spent_pct(work: Callable[[], object], seconds: float = 4.0) -> float:
    """Give the share of a core that work takes that is done over and over for some seconds."""
    work()
    began_s, spent_s = time.perf_counter(), time.process_time()
    while time.perf_counter() - began_s < seconds:
        work()
    return 100 * (time.process_time() - spent_s) / (time.perf_counter() - began_s)


def idle_pct() -> tuple[float, float]:
    """Give the share of a core that reading and judging a hold takes at 80 readings a second, nothing drawn.

    Beside it the same bytes read by a bare port in a thread that hands them on to another: what waking up 160 times a
    second costs on this machine. Both are the middle of three.
    """
    with port() as (device, name), live(name, 12_500) as bench, ticking(device):
        ours = [spent_pct(lambda: bench.take(drawn=False)) for _ in range(3)]
    came: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    with port() as (device, name), serial.Serial(name, timeout=0.1) as reader, ticking(device):
        done = threading.Event()

        def read() -> None:
            while not done.is_set():
                came.put(reader.read(reader.in_waiting or 1))

        thread = threading.Thread(target=read)
        thread.start()
        bare = [spent_pct(lambda: came.get(timeout=20)) for _ in range(3)]
        done.set()
        thread.join()
    return statistics.median(ours), statistics.median(bare)


def grown_mb(cycles: int = 100) -> float:
    """Give by how many megabytes a link has grown after so many plugs pulled and put in again."""
    heard = Heard()
    with tempfile.TemporaryDirectory() as folder:
        cable = Cable(Path(folder, "port"))
        cable.plug()
        link = Link(LinkSettings(cable.url, silence_us=None), TextDecoder(FORM), heard, heard.fault)
        link.start()
        try:
            before_mb = 0.0
            for number in range(1, cycles + 11):
                heard.count(LinkUp)
                cable.unplug()
                heard.count(LinkLost)
                heard.events.clear()
                cable.plug()
                if number == 10:  # what is set up once has been
                    before_mb = resident_mb()
            return resident_mb() - before_mb
        finally:
            link.stop()
            cable.unplug()


def resident_mb() -> float:
    """Give how much memory this process holds."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def figures() -> list[dict[str, Any]]:
    """Measure."""
    bare = bare_a_second()
    data = frames(FORM)
    reading = statistics.median(read_a_second(data, COUNT - 1) for _ in range(5))
    soon_ms, bare_ms = latency_ms()
    idle, bare_idle = idle_pct()
    return [
        figure("text frames decoded, one core", decoded_a_second(FORM), "a second", 400_000, bare),
        figure("text frames with a CRC-16 decoded, one core", decoded_a_second(CHECKED), "a second", 400_000, bare),
        figure(
            "the whole live path: port, decoder, hold, ring, middle of five",
            statistics.median(lived_a_second(data, COUNT - 1) for _ in range(5)),
            "a second",
            150_000,
            reading,
        ),
        figure("last byte to the hold's outcome, no window, 99 %", soon_ms, "ms", 2, bare_ms, more_is_better=False),
        figure("contact edge to the foot's event, polled, 99 %", foot_ms(), "ms", 15, None, more_is_better=False),
        figure("idle at 80 readings a second, no window", idle, "% of a core", 4, bare_idle, more_is_better=False),
        figure("grown over 100 plugs pulled and put in", grown_mb(), "MB", 1, None, more_is_better=False),
    ]
