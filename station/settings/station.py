r"""The station file: which scale, on which port, speaking how, known how well; which pedal; which hold by default.

>>> from pathlib import Path; import tempfile
>>> text = '''
... [station]
... name = "Bench 1"
... [scale]
... url = "/dev/ttyUSB0"
... format = "text"
... frame = "{value} {unit}"
... end = "\\r\\n"
... capacity = "100 lbf"
... '''
>>> with tempfile.TemporaryDirectory() as folder:
...     path = Path(folder, "station.toml")
...     _ = path.write_text(text)
...     load_station(path).scale.link.baud
9600
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Literal, TypeVar, cast, get_args

from drivers.events import ForceUnit, LengthUnit, Status
from drivers.link import LinkSettings, PedalLinkSettings
from drivers.modbus_rtu import ModbusFormat, Number, WordOrder, gap_us
from drivers.scpi import ScpiFormat
from drivers.text_format import Measured
from drivers.text_frames import FormatFault, TextFormat, wire_bytes
from station import units
from station.settings.hold import HoldSpecification, SpecificationFault, read_hold
from station.settings.tables import SettingsFault, Table, bounded

T = TypeVar("T")
FORMATS = ("text", "modbus-rtu", "scpi")
ScaleName = Literal["scale", "second_scale"]
"""The table that declares a scale."""
ScaleFormat = TextFormat | ModbusFormat | ScpiFormat


@dataclass(frozen=True)
class KeyPedal:
    """A pedal that is a keyboard: its key reaches the bench window alone."""


@dataclass(frozen=True)
class ScaleSettings:
    """The scale: its port, its frames, and what is known of it. Forces in mN; None where a figure was not given.

    `uncertainty_n` is the expanded uncertainty as typed, in newtons, valid to the end of the day `uncertainty_until`.
    """

    link: LinkSettings
    format: ScaleFormat
    capacity_mn: int
    resolution_mn: int | None
    response_us: int | None
    uncertainty_n: Fraction | None
    uncertainty_until: datetime.date | None

    def uncertainty_on(self, day: datetime.date) -> Fraction | None:
        """Give the typed uncertainty in force on `day`; out of date means unknown."""
        if self.uncertainty_n is None or self.uncertainty_until is None or day > self.uncertainty_until:
            return None
        return self.uncertainty_n


@dataclass(frozen=True)
class GaugeSettings:
    """A length gauge, declared like a scale; `rising_is_long` tells whether a larger reading means a longer line."""

    link: LinkSettings
    format: TextFormat
    rising_is_long: bool


@dataclass(frozen=True)
class StationSettings:
    """A bench: its name, its scale, its pedal and its hold where the file gives them.

    `mark` is a letter or a few that its job numbers carry, '' where none is given, so that benches which number while
    they are off line never give the same one. `second_scale` is for comparing with two cells, one on each line; `gauge`
    reads the difference.
    """

    name: str
    scale: ScaleSettings
    pedal: PedalLinkSettings | KeyPedal | None
    hold: HoldSpecification | None
    second_scale: ScaleSettings | None = None
    gauge: GaugeSettings | None = None
    mark: str = ""

    @property
    def scales(self) -> dict[ScaleName, ScaleSettings]:
        """Give the scales that are declared, each by its table."""
        second: dict[ScaleName, ScaleSettings] = (
            {} if self.second_scale is None else {"second_scale": self.second_scale}
        )
        return {"scale": self.scale, **second}

    def alone(self, name: ScaleName) -> StationSettings:
        """Give the same bench with one scale alone, as it is heard and checked."""
        return replace(self, scale=self.scales[name], second_scale=None, gauge=None)


def load_station(path: Path | str, rated_strength_mn: int | None = None, *, with_hold: bool = True) -> StationSettings:
    """Read a station file; its [hold] is left unread where another hold outranks it.

    Raises `SettingsFault` naming the file, the key, what was found and what was expected.
    """
    top = Table.load(path)
    station = top.table("station")
    name, mark = station.text("name"), station.get("mark", _mark, "")
    station.done()
    scale = _scale(top.table("scale"))
    pedal = _pedal(top.table("pedal")) if "pedal" in top else None
    hold = read_hold(top.table("hold"), Path(path).stem, rated_strength_mn) if with_hold and "hold" in top else None
    second = _scale(top.table("second_scale")) if "second_scale" in top else None
    gauge = _gauge(top.table("gauge")) if "gauge" in top else None
    for known in ("pedal", "hold", "second_scale", "gauge"):
        top.get(known, lambda value: value, None)
    top.done()
    if hold is not None:
        check_capacity(str(path), hold, scale)
    urls = [each.link.url for each in (scale, second, gauge) if each is not None]
    for section, each in (("second_scale", second), ("gauge", gauge)):
        if each is not None and urls.count(each.link.url) > 1:
            raise SettingsFault(f"{path}: [{section}] url: found {each.link.url!r}, which another instrument has too")
    return StationSettings(name, scale, pedal, hold, second, gauge, mark)


def check_capacity(file: str, hold: HoldSpecification, scale: ScaleSettings) -> None:
    """Refuse a hold whose ceiling the scale cannot read. Raises `SettingsFault` naming `file`."""
    try:
        hold.check_capacity(scale.capacity_mn)
    except SpecificationFault as fault:
        raise SettingsFault(f"{file}: [hold] {fault}") from None


def _scale(table: Table) -> ScaleSettings:
    form = str(table.one_of("format", FORMATS))
    formats: dict[str, Callable[[Table], ScaleFormat]] = {
        "text": _text_format,
        "modbus-rtu": _modbus_format,
        "scpi": _scpi_format,
    }
    read = formats[form]
    try:
        frames = read(table)
    except FormatFault as fault:
        raise SettingsFault(f"{table.file}: [{table.name}] {fault}") from None
    uncertainty = table.get("uncertainty", _uncertainty_n, None)
    until = table.get("uncertainty_until", _date, None)
    if uncertainty is not None and until is None:
        raise table.fault(
            "uncertainty_until",
            'is missing: an uncertainty that is typed needs the day until which it holds, as in "2027-06-30"',
        )
    scale = ScaleSettings(
        link=_link(table, form),
        format=frames,
        capacity_mn=table.get("capacity", _above_zero_mn),
        resolution_mn=table.get("resolution", _above_zero_mn, None),
        response_us=table.get("response", _zero_up_us, None),
        uncertainty_n=uncertainty,
        uncertainty_until=until,
    )
    table.done()
    return scale


def _gauge(table: Table) -> GaugeSettings:
    form = str(table.one_of("format", ("text",), "text"))
    try:
        frames = _text_format(table, "length")
    except FormatFault as fault:
        raise SettingsFault(f"{table.file}: [gauge] {fault}") from None
    rising = table.one_of("rising", ("long", "short"), "long")
    gauge = GaugeSettings(_link(table, form), frames, rising == "long")
    table.done()
    return gauge


def _text_format(table: Table, measures: Measured = "force") -> TextFormat:
    known = get_args(ForceUnit if measures == "force" else LengthUnit)
    return TextFormat(
        measures=measures,
        frame=table.text("frame"),
        end=wire_bytes(table.text("end")),
        unit=cast(Any, table.one_of("unit", known, None)),
        units=cast(Any, _meanings(table, "units", known)),
        status=_statuses(table),
        decimal=cast(Literal[".", ","], table.one_of("decimal", [".", ","], ".")),
        checksum=cast(Any, table.one_of("checksum", ["none", "xor8", "sum8", "crc16-modbus"], "none")),
        check_range=table.get("check_range", _range, None),
        check_form=cast(Literal["hex", "bytes"], table.one_of("check_form", ["hex", "bytes"], "hex")),
    )


def _modbus_format(table: Table) -> ScaleFormat:
    return ModbusFormat(
        unit=_named_unit(table),
        register=table.count("register"),
        number=cast(Any, table.one_of("number", get_args(Number))),
        address=table.count("address", 1),
        function=cast(Any, table.count("function", 3)),
        word_order=cast(WordOrder, table.one_of("word_order", get_args(WordOrder), "ABCD")),
        factor=table.number("factor", 1.0),
        decimals_register=table.count("decimals_register", None),
        status_register=table.count("status_register", None),
        status=_statuses(table),
    )


def _scpi_format(table: Table) -> ScaleFormat:
    return ScpiFormat(
        unit=_named_unit(table),
        query=table.text("query"),
        end=wire_bytes(table.text("end", "\n")),
        field=table.count("field", 1),
    )


def _named_unit(table: Table) -> ForceUnit:
    return cast(ForceUnit, table.one_of("unit", get_args(ForceUnit)))


def _statuses(table: Table) -> dict[str, Status]:
    return cast(dict[str, Status], _meanings(table, "status", get_args(Status)))


def _spoken(table: Table) -> dict[str, Any]:
    """Give how a port speaks: its speed, and the bits of a byte."""
    baud = table.count("baud", 9600)
    if not 50 <= baud <= 4_000_000:
        raise table.fault("baud", f"found {baud}, expected a speed from 50 to 4000000")
    return {
        "baud": baud,
        "bytesize": table.get("bytesize", _one_of_numbers(5, 6, 7, 8), 8),
        "parity": table.one_of("parity", ["N", "E", "O", "M", "S"], "N"),
        "stopbits": table.get("stopbits", _one_of_numbers(1, 1.5, 2), 1),
    }


def _link(table: Table, form: str) -> LinkSettings:
    spoken = _spoken(table)
    return _made(
        table,
        LinkSettings,
        url=_beside(table.file, table.get("url", url_of)),
        **spoken,
        poll=wire_bytes(table.text("poll", "")) if form == "text" else b"",
        poll_every_us=table.time_us("poll_every", 100_000),
        answer_within_us=500_000 if form == "text" else table.time_us("answer_within", 500_000),
        gap_us=gap_us(spoken["baud"]) if form == "modbus-rtu" else 0,
        period_us=table.time_us("period", None),
    )


def url_of(value: Any) -> str:
    """Read a url: a port's name, or an address of a kind that pyserial opens. Raises `ValueError` for anything else."""
    expected = "a port as fidbench ports gives it, socket://, rfc2217:// or a capture file"
    if not isinstance(value, str) or not value.strip():
        raise ValueError(f"found {value!r}, expected {expected}, in quotes")
    kind, mark, _ = value.partition("://")
    if mark and not (kind.isidentifier() and find_spec(f"serial.urlhandler.protocol_{kind.lower()}")):
        raise ValueError(f"found {value!r}, expected {expected}: {kind}:// is no kind of address known here")
    return value


def _beside(file: str, url: str) -> str:
    """Give the path of a capture that is named as it lies from the station file, and any other url as it is."""
    capture = Path(file).parent / url
    return str(capture) if "://" not in url and capture.is_file() else url


def _made(table: Table, settings: Callable[..., T], **values: Any) -> T:
    """Make settings of a link; what contradicts itself is a fault of the file."""
    try:
        return settings(**values)
    except ValueError as fault:
        raise SettingsFault(f"{table.file}: [{table.name}] {fault}") from None


def _pedal(table: Table) -> PedalLinkSettings | KeyPedal:
    kind = table.one_of("kind", ["contact", "text", "key"])
    if kind == "key":
        table.done()
        return KeyPedal()
    down, up = (wire_bytes(table.text(key, default)) for key, default in (("down", "D"), ("up", "U")))
    pedal = _made(
        table,
        PedalLinkSettings,
        url=table.get("url", url_of),
        **_spoken(table),
        kind=cast(Literal["contact", "text"], kind),
        line=cast(Any, table.one_of("line", ["cts", "dsr", "dcd", "ri"], "cts")),
        down=down,
        up=up,
    )
    table.done()
    return pedal


def _meanings(table: Table, key: str, choices: tuple[str, ...]) -> dict[str, str]:
    words = table.table(key, None)
    return {} if words is None else {word: str(words.one_of(word, choices)) for word in words}


def _one_of_numbers(*choices: float) -> Any:
    def read(value: Any) -> Any:
        if isinstance(value, bool) or value not in choices:
            raise ValueError(f"found {value!r}, expected one of {', '.join(map(str, choices))}")
        return value

    return read


def _mark(value: Any) -> str:
    if not isinstance(value, str) or re.fullmatch("[A-Z]{0,3}", value) is None:
        raise ValueError(f'found {value!r}, expected one to three capital letters from A to Z, as in "B"')
    return value


def _range(value: Any) -> tuple[int, int]:
    try:
        first, last = (int(part) for part in value.split(":"))
    except (AttributeError, ValueError):
        raise ValueError(f'found {value!r}, expected two byte positions in quotes, as in "1:-2"') from None
    return first, last


_above_zero_mn = bounded(units.force_mn, False, "a force above 0 lbf")
_zero_up_us = bounded(units.time_us, True, "a time of 0 s or more")
_uncertainty_n = bounded(lambda value: units.quantity(value, "force"), True, "a force of 0 lbf or more")


def _date(value: Any) -> datetime.date:
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value
    try:
        return datetime.date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError(f'found {value!r}, expected a day, as in "2027-06-30"') from None
