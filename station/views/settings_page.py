"""The page of settings: how the window looks and sounds, and where things lie; kept in a file a person can read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from station.settings.preferences import (
    CANOPY,
    LOOKS,
    OPENS,
    PAPERS,
    SEEN,
    SOUND,
    UNITS,
    Preferences,
    load_preferences,
    preferences_file,
)
from station.settings.tables import SettingsFault
from station.settings.writing import edited, keep, values_of
from station.views.form import Field, Form
from station.views.page import Page, scrolled
from station.views.palette import LookName

FIELDS = (
    Field("window.look", "Look", choices=LOOKS, group="Window"),
    Field("window.units", "Units", choices=UNITS, group="Window"),
    Field("window.canopy", "Canopy lies at the", choices=CANOPY, group="Window"),
    Field("window.seen", "The bench is seen", choices=SEEN, group="Window"),
    Field("window.opens", "The bench opens", choices=OPENS, group="Window"),
    Field("window.sound", "Sound and voice", choices=SOUND, group="Window"),
    Field("records.paper", "Paper", choices=PAPERS, group="Records"),
    Field("places.archive", "Archive", hint="in your own data folder, if empty", group="Places"),
    Field("places.shop", "Folder of the shop", hint="in your own data folder, if empty", group="Places"),
    Field("places.station", "Station file", hint="pulls are by hand, if empty", group="Places"),
)


class SettingsPage(Page):
    """The settings in a form. `changed` takes them once they are kept, and is told of nothing that is refused."""

    def __init__(
        self,
        look: LookName,
        changed: Callable[[Preferences], None],
        *,
        file: Path | None = None,
        scale: float = 1.0,
    ) -> None:
        text = "Look, units and sound count at once. Another archive or station is opened the next time you start."
        super().__init__(look, "Settings", text, scale=scale)
        self._file = preferences_file() if file is None else file
        self._changed = changed
        self.form = Form(FIELDS)
        self.body.addWidget(scrolled(self.form, self))
        self.keep_button = self.button("Keep them", main=True)
        self.keep_button.clicked.connect(self.keep)
        defaults = {field.key: field.choices[0] for field in FIELDS if field.choices}
        try:
            found = load_preferences(self._file)
            typed = values_of(self._text())
        except SettingsFault as fault:
            found, typed = Preferences(), {}
            self.say(f"{fault}. What you keep here takes its place", wrong=True)
        self.form.fill({**defaults, "window.look": found.look} | typed)
        self.form.inputs["window.look"].setFocus()

    def unkept(self) -> str:
        """Say that settings were changed and not kept."""
        return "What you changed" if self.form.is_changed else ""

    def _text(self) -> str:
        return self._file.read_text(encoding="utf-8-sig") if self._file.exists() else ""

    def keep(self) -> None:
        """Write what is set, where the loader takes it; else say what is wrong beside its field."""
        self.say("")
        answers = self.form.answers()
        problems = _places(answers)
        self.form.say(problems)
        if problems:
            return
        try:
            load_preferences(self._file)
            before = self._text()
        except SettingsFault:
            before = ""
        try:
            text = edited(before, {key: text or None for key, text in answers.items()})
            found = keep(self._file, text, load_preferences)
        except SettingsFault as fault:
            if fault.key in self.form.inputs:
                self.form.say({fault.key: fault.why})
            else:
                self.say(str(fault), wrong=True)
            return
        self.form.settle()
        self.say(f"Kept, in {self._file}.")
        self._changed(found)


def _places(answers: dict[str, str]) -> dict[str, str]:
    """Say what is wrong with a place that is typed."""
    problems: dict[str, str] = {}
    station = answers["places.station"]
    if station:
        from station.settings.station import load_station

        try:
            load_station(Path(station).expanduser())
        except SettingsFault as fault:
            problems["places.station"] = str(fault)
    shop = answers["places.shop"]
    if shop and not Path(shop).expanduser().is_dir():
        problems["places.shop"] = f"found no folder {shop!r}; make it first, or name another"
    archive = answers["places.archive"]
    if archive and "://" not in archive:
        path = Path(archive).expanduser()
        if path.is_dir():
            problems["places.archive"] = f"{archive!r} is a folder; name a file in it, as in archive.sqlite"
        elif not path.is_absolute() or not path.parent.is_dir():
            why = "expected a file in a folder that is there, from / or ~ on, as in ~/loft/archive.sqlite"
            problems["places.archive"] = f"found {archive!r}, {why}"
    return problems
