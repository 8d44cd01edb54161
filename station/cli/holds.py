"""`fidbench judge` and `fidbench hold`: one hold, from a stored trace or from the wire."""

from __future__ import annotations

import signal
import threading
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import click

from station.cli.answers import FORCE, TIME, as_json, print_json, say, warn

if TYPE_CHECKING:
    from station.measuring.hold import ScaleUncertainty
    from station.one_hold import Said
    from station.settings.hold import HoldSpecification

_AGAIN_S = 2.0


@click.command()
@click.argument("traces", nargs=-1, required=True, metavar="TRACE.csv ...")
@click.option("--hold", "hold_file", required=True, metavar="FILE", help="What the hold must be (TOML).")
@click.option("--uncertainty", type=FORCE, help='The scale\'s expanded uncertainty, as in "0.2 lbf".')
@click.option("--response", type=TIME, help='The scale\'s response, as in "0.1 s".')
@click.option("--rated-strength", type=FORCE, help='The line\'s, for limits that are shares of it, as in "725 lbf".')
@as_json
def judge(
    traces: tuple[str, ...],
    hold_file: str,
    uncertainty: Fraction | None,
    response: Fraction | None,
    rated_strength: Fraction | None,
    as_json: bool,
) -> int:
    """Judge stored traces (CSV: time_s,force,unit,status) against a hold.

    Exit status 0 when every hold is held, 1 when one is not, 2 when a file cannot be used.
    """
    from station.measuring import hold, trace_files
    from station.measuring.trace import TraceFault

    spec = load_specification(hold_file, rated(rated_strength))
    scale = typed(uncertainty)
    if response is not None and response < 0:
        raise click.BadParameter("found less than zero, expected a time of 0 s or more", param_hint="--response")
    response_us = None if response is None else round(response * 1_000_000)
    status = 0
    for path in traces:
        try:
            trace = trace_files.read_trace(path)
        except TraceFault as fault:
            warn(f"fidbench: {fault}")
            status = 2
            continue
        judgement = hold.judge(trace, spec, scale, response_us)
        if as_json:
            print_json({"trace": path} | hold.answer(judgement.facts()))
        else:
            say("\n".join([f"{path}:", *("  " + line for line in judgement_lines(judgement.facts(), spec))]))
        if judgement.verdict != "held":
            status = max(status, 1)
    return status


def load_specification(path: str, rated_mn: int | None) -> HoldSpecification:
    """Read a hold file, with the rated strength as the option gives it."""
    from station.settings.hold import load_hold

    return load_hold(path, rated_mn)


def rated(strength: Fraction | None) -> int | None:
    """Give a rated strength typed in newtons in whole mN; None where it is not given."""
    if strength is not None and round(strength * 1000) <= 0:
        raise click.BadParameter("found no more than zero, expected a force above 0 lbf", param_hint="--rated-strength")
    return None if strength is None else round(strength * 1000)


def typed(uncertainty: Fraction | None) -> ScaleUncertainty | None:
    """Give what a typed expanded uncertainty in newtons means; None where it is unknown."""
    from station.measuring.hold import typed_uncertainty

    if uncertainty is None:
        return None
    if uncertainty < 0:
        raise click.BadParameter("found less than zero, expected a force of 0 lbf or more", param_hint="--uncertainty")
    return typed_uncertainty(round(uncertainty * 1000), uncertainty)


def judgement_lines(facts: dict[str, Any], spec: HoldSpecification, unit: str = "lbf") -> list[str]:
    """Give a judgement as lines for a person."""
    from station.measuring.words import said

    return [*said(facts["verdict"], facts["reasons"], spec, facts["held_us"], unit), *_figure_lines(facts, unit)]


def _figure_lines(facts: dict[str, Any], unit: str = "lbf") -> list[str]:
    from station.measuring.words import seconds
    from station.units import force_text, in_unit

    def force(mn: float | None) -> str:
        return "unknown" if mn is None else force_text(mn / 1000, unit)

    lines = []
    span = facts["span_us"]
    if span:
        mean_n, lowest_n = facts["sum_mn"] / facts["count"] / 1000, facts["min_mn"] / 1000
        lines.append(
            f"in the band from {span[0] / 1e6:.2f} s to {span[1] / 1e6:.2f} s, {seconds(facts['held_us'])}: "
            f"lowest {in_unit(lowest_n, unit):.1f}, mean {in_unit(mean_n, unit):.1f}, highest {force(facts['max_mn'])}"
        )
    lines.append(f"highest pull of all {force(facts['peak_mn'])}; largest gap {facts['largest_gap_us'] / 1e6:.3f} s")
    if facts["guard_mn"]:
        lines.append(f"guarded by the scale's uncertainty, {force_text(facts['guard_mn'] / 1000, unit, 2)}")
    if facts["conformance_ppb"] is not None:
        lines.append(f"at its worst reading, in the band with a probability of {facts['conformance_ppb'] / 1e9:.4f}")
    if facts["blind_to_us"] is not None:
        lines.append(f"a dip shorter than {facts['blind_to_us'] / 1e6:.3f} s could not have been seen")
    return lines


class _Teller:
    """Tells a person of a hold as it happens.

    What breaks and goes on again and again, within `_AGAIN_S` and for one reason, is told as that; and once a hold is
    spoilt nobody is told to go on with it.
    """

    def __init__(self, spec: HoldSpecification) -> None:
        self._spec = spec
        self._spoilt = self._repeats = False
        self._broken: Said | None = None

    def tell(self, told: Said) -> None:
        if told.event == "spoilt":
            self._spoilt = True
        if self._spoilt and told.event in {"in-band", "broken"}:
            return
        if told.event == "broken":
            before, self._broken = self._broken, told
            repeated, self._repeats = self._repeats, _is_again(before, told)
            if self._repeats and not repeated:
                from station.measuring.words import why_broken

                say(f"{told.at_s:7.1f} s  {why_broken(told.more['why'])}, again and again: each time it starts anew")
        if not (self._repeats and told.event in {"in-band", "broken"}):
            say(told.words(self._spec))
        if told.facts is not None:
            say("\n".join(" " * 11 + line for line in _figure_lines(told.facts)))


def _is_again(before: Said | None, told: Said) -> bool:
    return (
        before is not None
        and before.goes_on
        and told.goes_on
        and before.more["why"] == told.more["why"]
        and told.at_s - before.at_s < _AGAIN_S
    )


@click.command()
@click.option("--station", "station_file", required=True, metavar="FILE", help="The bench's scale and pedal (TOML).")
@click.option("--hold", "hold_file", metavar="FILE", help="What the hold must be (TOML); outranks the station's.")
@click.option("--timeout", type=TIME, help="When to stop waiting; the hold's duration and 120 s unless given.")
@click.option("--archive", metavar="A", help="Where to file the hold; without it nothing is recorded.")
@click.option(
    "--key", metavar="FILE", help="The station's key, to sign with; the one beside the archive's file, if any."
)
@click.option("--rated-strength", type=FORCE, help='The line\'s, for limits that are shares of it, as in "725 lbf".')
@click.option("--capture", metavar="FILE", help="Where to write all that the scale sends, byte for byte.")
@click.option("--piece", default="", help="The number of the piece between the grips, for the record.")
@as_json
def hold(
    station_file: str,
    hold_file: str | None,
    timeout: Fraction | None,
    archive: str | None,
    key: str | None,
    rated_strength: Fraction | None,
    capture: str | None,
    piece: str,
    as_json: bool,
) -> int:
    """Judge one hold on real hardware, or from a capture that the station file names as its url; without a window.

    Exit status 0 when it is held, 1 when it is not, 2 when a file cannot be used, 3 when no frame ever came. Ctrl-C
    ends the hold: it is judged, and filed, as it stands.
    """
    from drivers.capture import is_capture
    from station import one_hold
    from station.settings.station import check_capacity, load_station
    from station.settings.tables import SettingsFault

    if key is not None and archive is None:
        raise click.UsageError("--key signs what is filed; name the archive with --archive A")
    rated_mn = rated(rated_strength)
    station = load_station(station_file, rated_mn, with_hold=hold_file is None)
    spec = load_specification(hold_file, rated_mn) if hold_file else station.hold
    if spec is None:
        raise SettingsFault(f"{station_file}: has no [hold]; name one with --hold FILE, or write [hold] in the file")
    check_capacity(hold_file or station_file, spec, station.scale)
    timeout_us = spec.duration_us + 120_000_000 if timeout is None else round(timeout * 1_000_000)
    if timeout_us <= 0:
        raise click.BadParameter("found no time to wait, expected a time above 0 s", param_hint="--timeout")
    stop = threading.Event()
    before = signal.signal(signal.SIGINT, lambda *_: stop.set())
    verdict, lost, teller = None, "", _Teller(spec)
    try:
        for told in one_hold.run(station, spec, timeout_us, archive, piece, capture, stop, key):
            if as_json:
                print_json(told.answer())
            else:
                teller.tell(told)
            verdict = told.more.get("verdict", verdict)
            lost = told.more["advice"] if told.event == "link-lost" else "" if told.event == "link-up" else lost
    finally:
        signal.signal(signal.SIGINT, before)
    if verdict is None:
        url = station.scale.link.url
        if is_capture(url):
            lost = f"fidbench listen {url} shows what is in it, and proposes a description"
        warn(f"fidbench: no frame that can be read came from {url}")
        warn(f"fidbench: {lost or 'look at the speed (baud) and the frame in the station file'}")
        return 3
    return 0 if verdict == "held" else 1
