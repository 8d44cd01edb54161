"""`fidbench listen --pedal`: which line a footswitch moves, or what it sends, and a [pedal] table that reads it."""

from __future__ import annotations

import time
from typing import Any

from station.cli.answers import print_json, say, warn

_LOOK_S = 0.02


def listen_for_foot(url: str, baud: int, for_s: float, as_json: bool) -> int:
    """Watch a port until a foot is found, for so long at most; 0 when it is, 1 when it is not, 3 when nothing came."""
    from drivers.link import now_us
    from station.bench.foot_finding import FootFinder, pedal_toml
    from station.listening import Foot

    finder, begun_us = FootFinder(), now_us()
    until_us = begun_us + round(for_s * 1_000_000)
    asked, happened = "", set[str]()
    try:
        with Foot(url, baud) as foot:
            while now_us() < until_us and finder.found is None:
                if finder.words != asked and "link-up" in happened and not as_json:
                    asked = finder.words
                    warn(asked)
                time.sleep(_LOOK_S)
                for event in foot.events():
                    told = _told(event)
                    happened.add(told["event"])
                    _tell(told | {"at_s": max(event.at_us - begun_us, 0) / 1e6}, as_json)
                    if told["event"] in {"line", "heard"}:
                        finder.take(event)  # type: ignore[arg-type]  # as `_told` says
                finder.tick(now_us())
    except KeyboardInterrupt:
        warn("stopped")
    came = not happened.isdisjoint({"line", "heard"})
    toml = None if finder.found is None else pedal_toml(finder.found, url, baud)
    if as_json:
        print_json({"event": "proposal", "pedal_toml": toml})
    elif toml is not None:
        say(f"{finder.words} Write it into the station file:\n\n{toml}")
    elif came:
        warn("no foot was found in this; press it once more, and listen for longer (--for)")
    elif "link-up" in happened:
        warn("nothing came, and no line moved: press the footswitch while this listens; see its wiring, and its plug")
    return 0 if toml is not None else 1 if came else 3


def _told(event: Any) -> dict[str, Any]:
    from drivers.events import PedalLost, PedalUp
    from drivers.foot_watch import LineMoved
    from drivers.template import shown

    match event:
        case PedalUp():
            return {"event": "link-up", "url": event.url}
        case PedalLost():
            return {"event": "link-lost", "why": event.why, "advice": event.advice}
        case LineMoved():
            return {"event": "line", "line": event.line, "on": event.on}
        case _:
            return {"event": "heard", "hex": event.raw.hex(" "), "text": shown(event.raw)}


def _tell(told: dict[str, Any], as_json: bool) -> None:
    if as_json:
        print_json(told)
        return
    at = f"{told['at_s']:9.3f} s  "
    match told["event"]:
        case "link-up":
            warn(f"{at}{told['url']} is open")
        case "link-lost":
            warn(f"{at}{told['why']}: {told['advice']}")
        case "line":
            say(f"{at}{told['line'].upper()} goes {'on' if told['on'] else 'off'}")
        case _:
            say(at + told["text"])
