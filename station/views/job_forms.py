"""What a job asks at the keyboard: to be begun, and where a name or a reason is needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from station.settings.hold import ready_made_holds
from station.settings.plan import REFERENCES
from station.settings.preferences import shop_folder
from station.settings.reline import METHODS
from station.settings.shop import hold_names
from station.views.form import Field

if TYPE_CHECKING:
    from station.bench.snapshot import Command
    from station.settings.station import StationSettings

_BY = Field("by", "Name", required=True)
_REASON = Field("reason", "Reason", required=True, rows=2)
_CERTIFICATE = Field("certificate", "Certificate, kind and number")
FORMS: Mapping[Command, tuple[str, str, Sequence[Field]]] = {
    "sign": (
        "Sign off",
        "You sign for what was done and on whose instructions. The printed record has room for ink.",
        (_BY, _CERTIFICATE, Field("statement", "Statement", rows=2)),
    ),
    "inspect": (
        "Second person",
        "Somebody other than who did the work looks at it from the canopy down.",
        (_BY, _CERTIFICATE, Field("finding", "What was found", required=True, rows=2)),
    ),
    "override": ("Pass this step without what it asks for", "The record shows who did and why.", (_BY, _REASON)),
    "accept": ("Leave the difference", "The record shows who left it, and why.", (_BY, _REASON)),
    "by hand": ("Pulled by hand, not measured", "The record says so in these words.", (_BY,)),
    "not sound": (
        "The reference is not sound",
        "What is chosen instead is looked at next; the same again only where it was put right. Never strip both sides.",
        (
            Field("finding", "What was found", required=True, rows=2),
            Field("instead", "Match the new line to", required=True, choices=REFERENCES, default="chart"),
            _BY,
        ),
    ),
    "scrap": ("Scrap the piece", "The job goes on with a new piece.", (_BY, _REASON)),
    "release": ("Release the piece", "Nobody can see set-in damage. The record shows who and why.", (_BY, _REASON)),
    "another line": (
        "Turn to another line",
        "The line at hand stays as it stands, and comes again.",
        (Field("line", "Line", required=True),),
    ),
    "long?": (
        "How much is the new line long?",
        "Short is written with a minus, level is 0 in.",
        (Field("difference", "Difference", required=True, hint="3/16 in, or -1/8 in"),),
    ),
}
STATION_HOLD = "as the station file says"
AS_THE_FILE = "as the job file says"  # a line plan says nothing of it: then in turn
# With the day, which the program adds, what 14 CFR 65.131(a) asks of a rigger's record is among these: type and make,
# serial number, the owner's name and address, kind and extent of the work, place, and the results of drop tests.
NEW_JOB = (
    Field("title", "Which line", required=True, hint="Centre A and B", group="Line"),
    Field("side", "Side", required=True, choices=("left", "right"), group="Line"),
    Field("number", "Number", group="Line"),
    Field("line.reason", "Why this line is remade", group="Line"),
    Field("line.removed", "Removed line's length, and its pull", hint="119 1/2 in under 10 lbf", group="Line"),
    Field("canopy.kind", "Canopy", required=True, choices=("main", "reserve", "emergency", "tandem"), group="Canopy"),
    Field("canopy.make", "Make", group="Canopy"),
    Field("canopy.type", "Type", required=True, group="Canopy"),
    Field("canopy.size", "Size", group="Canopy"),
    Field("canopy.serial", "Serial number", group="Canopy"),
    Field("canopy.made", "Date made", group="Canopy"),
    Field("canopy.jumps", "Jumps", group="Canopy"),
    Field("canopy.line_set", "Line set fitted", group="Canopy"),
    Field("owner.name", "Owner or user", group="Canopy"),
    Field("owner.address", "Their address", group="Canopy"),
    Field("hold", "Pre-stretch", required=True, choices=tuple(ready_made_holds()), group="Work"),
    Field("rated_strength", "Line's rated strength", hint="725 lbf", group="Work"),
    Field("comparing", "Compared", True, AS_THE_FILE, group="Work", choices=(AS_THE_FILE, *METHODS)),
    Field("work.kind", "Kind of work", hint="main line replaced", group="Work"),
    Field("work.extent", "Extent", hint="one main line with its cascade", group="Work"),
    Field("work.cause", "Why it failed", group="Work"),
    Field("work.cause_removed", "Cause removed", group="Work"),
    Field("work.neighbours", "Neighbours looked at", group="Work"),
    Field("work.document", "Maker's document, revision, page", group="Work"),
    Field("work.place", "Place", group="Work"),
    Field("work.drop_tests", "Drop tests", default="none made", group="Work"),
    Field("people.worker", "Who works", required=True, group="People"),
    Field("people.supervisor", "Supervised by", group="People"),
    Field("people.authority", "Under what authority", required=True, group="People"),
    Field("people.certificate_kind", "Certificate", group="People"),
    Field("people.certificate", "Certificate number", group="People"),
    Field("people.rating", "Rating", group="People"),
    Field("people.seal", "Seal symbol", group="People"),
    Field("stock.maker", "Maker", group="Line stock"),
    Field("stock.specification", "Specification", group="Line stock"),
    Field("stock.strength", "Strength", group="Line stock"),
    Field("stock.lot", "Lot", group="Line stock"),
    Field("stock.spool", "Spool", group="Line stock"),
    Field("sewing.thread", "Thread", group="Sewing"),
    Field("sewing.thread_lot", "Thread lot", group="Sewing"),
    Field("sewing.needle", "Needle", group="Sewing"),
    Field("sewing.machine", "Machine", group="Sewing"),
    Field("sewing.settings", "Settings", group="Sewing"),
    Field("measuring.cell", "Cell's serial number", group="Measuring"),
    Field("measuring.indicator", "Indicator's serial number", group="Measuring"),
    Field("measuring.weights", "Weights", group="Measuring"),
    Field("measuring.scale_check", "Scale check", group="Measuring"),
    Field("measuring.temperature", "Temperature", group="Measuring"),
)


def job_fields(station: StationSettings | None) -> tuple[Field, ...]:
    """Give the fields of a new job; the station's own hold stands first where it has one."""
    own = (STATION_HOLD,) if station is not None and station.hold is not None else ()
    choices = (*own, *hold_names(shop_folder()))
    return tuple(replace(each, choices=choices) if each.key == "hold" else each for each in NEW_JOB)
