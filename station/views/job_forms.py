"""What a job asks at the keyboard: to be begun, and where a name or a reason is needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from station.bench.snapshot import Command
from station.settings.hold import ready_made_holds
from station.settings.plan import REFERENCES
from station.settings.reline import METHODS
from station.views.form import Field

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
NEW_JOB = (
    Field("title", "Which line", required=True, hint="Centre A and B", group="Line"),
    Field("side", "Side", required=True, choices=("left", "right"), group="Line"),
    Field("number", "Number", group="Line"),
    Field("canopy.kind", "Canopy", required=True, choices=("main", "reserve", "emergency", "tandem"), group="Canopy"),
    Field("canopy.type", "Type", required=True, group="Canopy"),
    Field("canopy.serial", "Serial number", group="Canopy"),
    Field("owner.name", "Owner", group="Canopy"),
    Field("owner.address", "Owner's address", group="Canopy"),
    Field("hold", "Pre-stretch", required=True, choices=tuple(ready_made_holds()), group="Work"),
    Field("rated_strength", "Line's rated strength", hint="725 lbf", group="Work"),
    Field("comparing", "Compared", required=True, choices=(AS_THE_FILE, *METHODS), group="Work"),
    Field("work.cause", "Why it failed", group="Work"),
    Field("work.document", "Maker's document, revision, page", group="Work"),
    Field("work.place", "Place", group="Work"),
    Field("work.drop_tests", "Drop tests", default="none made", group="Work"),
    Field("stock.specification", "Stock", group="Work"),
    Field("stock.lot", "Lot", group="Work"),
    Field("people.worker", "Who works", required=True, group="People"),
    Field("people.authority", "Under what authority", required=True, group="People"),
    Field("people.certificate", "Certificate", group="People"),
)
