"""One job at its window: a bench that takes what came, a window that draws what it shows and sends what a person did.

A command that needs a name or a reason asks for it with a form of the keyboard.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence

from drivers.events import Event, PedalEdge
from station.app import now_us
from station.bench.bench import Bench
from station.bench.commands import FormFault, carry_out, lines_to_turn_to
from station.bench.showing import Showing
from station.bench.snapshot import Command, Snapshot
from station.filing import WallClock, wall_clock
from station.scale_today import ScaleToday
from station.units import QuantityFault
from station.views.job_forms import FORMS
from station.views.palette import LookName
from station.views.window import BenchWindow


class AtWindow:
    """One job at its window: `events` gives what came from the hardware since it was last asked.

    `known` tells what is known of the scale now; it is asked again when the day has become another.
    """

    def __init__(
        self,
        bench: Bench,
        events: Callable[[], Sequence[Event]],
        look: LookName,
        key_pedal: bool = False,
        *,
        mirrored: bool = False,
        muted: bool = False,
        far: bool = False,
        known: Callable[[], ScaleToday] | None = None,
        clock: WallClock = wall_clock,
    ) -> None:
        self.bench = bench
        self.showing = Showing(bench)
        self._events = events
        self._known, self._clock = known, clock
        self._day = clock().astimezone().date()
        self._key_edges: list[Event] = []
        self.window = BenchWindow(
            look,
            self.read,
            self.send,
            on_pedal=self._key if key_pedal else None,
            on_fault=bench.fail,
            mirrored=mirrored,
            muted=muted,
            far=far,
        )

    def read(self) -> Snapshot:
        """Take what came, sound what it calls for, and give what to show."""
        edges, self._key_edges = self._key_edges, []
        for cue in self.bench.take([*self._events(), *edges]):
            self.window.cue(cue)
        self._see_the_day()
        return self.showing.snapshot()

    def _see_the_day(self) -> None:
        """Ask again what is known of the scale once the day is another, as soon as no hold is under way."""
        today = self._clock().astimezone().date()
        if self._known is not None and today != self._day and self.bench.know_scale(*self._known()):
            self._day = today

    def send(self, command: Command) -> None:
        """Carry out what a person did; ask first where a name or a reason is needed."""
        if command not in FORMS:
            carry_out(self.bench, command)
            return
        title, text, fields = FORMS[command]
        if command == "another line":
            fields = (dataclasses.replace(fields[0], choices=lines_to_turn_to(self.bench)),)
        asked_at = self._step_key()
        while True:
            answers = self.window.ask(title, text, fields)
            if answers is None:
                return
            if self._step_key() != asked_at:  # what was written was meant for the step before
                self.bench.not_counted("the job went on while that was written")
                return
            try:
                carry_out(self.bench, command, answers)
            except (FormFault, QuantityFault) as fault:
                text = str(fault)
            else:
                return

    def _step_key(self) -> str:
        return self.bench.step.key if self.bench.step else ""

    def _key(self, down: bool) -> None:
        self._key_edges.append(PedalEdge(now_us(), down))
        self.window.wake()
