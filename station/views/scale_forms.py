r"""What the page of scales asks of a scale, a second scale and a length gauge, by the keys of the station file.

Bytes are typed as the file writes them: \r is a carriage return, \u0002 a start of text. Words and what they mean are
typed as in `ST = stable, OL = overload`; a word with a comma, an equals sign or a quote in it stands in quotes.

>>> typed_bytes(r"\u0002W\r"), shown_bytes("\x02W\r")
('\x02W\r', '\\u0002W\\r')
>>> typed_words(r'ST = stable, "O,L" = overload', "scale.status")
{'ST': 'stable', 'O,L': 'overload'}
>>> shown_words({"lb": "lbf", "O,L": "overload"})
'lb = lbf, "O,L" = overload'
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Literal, NamedTuple, get_args

from drivers.events import ForceUnit, LengthUnit
from drivers.modbus_rtu import Number, WordOrder
from station.settings.station import FORMATS, ScaleName
from station.settings.tables import SettingsFault
from station.settings.writing import Key, Value, plain_number
from station.views.form import Field

Instrument = Literal[ScaleName, "gauge"]
"""The table that declares an instrument."""
INSTRUMENTS: Mapping[Instrument, str] = {
    "scale": "the scale",
    "second_scale": "a second scale, for two cells",
    "gauge": "a length gauge",
}
NEW_STATION = '[station]\nname = ""\n\n[scale]\n'
NAMED = "it sends its unit"
_SAID: Mapping[str, Mapping[str, str]] = {
    "format": {"text": "text", "modbus-rtu": "Modbus RTU", "scpi": "SCPI"},
    "parity": {"N": "none", "E": "even", "O": "odd", "M": "mark", "S": "space"},
    "decimal": {".": "point", ",": "comma"},
}
"""What stands in a choice for a value of the file."""
TEXT, MODBUS, SCPI = FORMATS


class Asked(NamedTuple):
    """A key of an instrument's table: its label, its hint or choices, which formats have it, what is typed."""

    key: str
    label: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    formats: tuple[str, ...] = FORMATS
    kind: Literal["plain", "number", "bytes", "words"] = "plain"
    group: str = ""
    required: bool = False


_PORT, _SENDS, _ASKS, _WORTH = "Port", "How its readings are written", "When it sends", "What it is worth"
_BY_ASKING = (MODBUS, SCPI)
_ASKED = (
    Asked("url", "Port", "as fidbench ports gives it", group=_PORT, required=True),
    Asked("baud", "Speed, baud", "9600", kind="number", group=_PORT),
    Asked("bytesize", "Bits", choices=("8", "7", "6", "5"), kind="number", group=_PORT),
    Asked("parity", "Parity", choices=("N", "E", "O", "M", "S"), group=_PORT),
    Asked("stopbits", "Stop bits", choices=("1", "1.5", "2"), kind="number", group=_PORT),
    Asked("format", "It speaks", choices=FORMATS, group=_SENDS),
    Asked("frame", "One frame", "{value} {unit}", formats=(TEXT,), group=_SENDS),
    Asked("end", "It ends with", r"\r\n", formats=(TEXT, SCPI), kind="bytes", group=_SENDS),
    Asked("unit", "Unit, if it sends none", choices=(NAMED,), group=_SENDS),
    Asked("units", "Its words for units", "lb = lbf, kg = kgf", formats=(TEXT,), kind="words", group=_SENDS),
    Asked("decimal", "Decimal", choices=(".", ","), formats=(TEXT,), group=_SENDS),
    Asked("register", "Register", "0", formats=(MODBUS,), kind="number", group=_SENDS),
    Asked("number", "Kind of number", choices=get_args(Number), formats=(MODBUS,), group=_SENDS),
    Asked("word_order", "Order of its bytes", choices=get_args(WordOrder), formats=(MODBUS,), group=_SENDS),
    Asked("factor", "Factor", "0.01", formats=(MODBUS,), kind="number", group=_SENDS),
    Asked("decimals_register", "Register of decimals", formats=(MODBUS,), kind="number", group=_SENDS),
    Asked("status_register", "Register of states", formats=(MODBUS,), kind="number", group=_SENDS),
    Asked("field", "Which field of the answer", "1", formats=(SCPI,), kind="number", group=_SENDS),
    Asked(
        "status",
        "Its words for states",
        "ST = stable, US = unstable, OL = overload",
        formats=(TEXT, MODBUS),
        kind="words",
        group=_SENDS,
    ),
    Asked(
        "checksum",
        "Check",
        choices=("none", "xor8", "sum8", "crc16-modbus"),
        formats=(TEXT,),
        group=_SENDS,
    ),
    Asked("check_range", "Bytes it covers", "1:-2, from 0 on; -1 is the last", formats=(TEXT,), group=_SENDS),
    Asked("check_form", "Check is written as", choices=("hex", "bytes"), formats=(TEXT,), group=_SENDS),
    Asked("poll", "It is asked with", r"W\r; empty: it sends by itself", formats=(TEXT,), kind="bytes", group=_ASKS),
    Asked("query", "It is asked with", "a question without its end", formats=(SCPI,), group=_ASKS),
    Asked("address", "Address", "1", formats=(MODBUS,), kind="number", group=_ASKS),
    Asked("function", "Function", "3, or 4", formats=(MODBUS,), kind="number", group=_ASKS),
    Asked("poll_every", "Asked every", "0.1 s", group=_ASKS),
    Asked("answer_within", "Answers within", "0.5 s", formats=_BY_ASKING, group=_ASKS),
    Asked("period", "One reading every", "0.1 s; empty: measured", formats=(TEXT,), group=_ASKS),
)
_OF_A_SCALE = (
    Asked("capacity", "Capacity", "100 lbf", group=_WORTH, required=True),
    Asked("resolution", "Smallest step", "0.02 lbf", group=_WORTH),
    Asked("response", "Response", "0.1 s", group=_WORTH),
    Asked("uncertainty", "Uncertainty, from a certificate", "0.2 lbf", group=_WORTH),
    Asked("uncertainty_until", "in force until", "2027-06-30", group=_WORTH),
)
_OF_A_GAUGE = (Asked("rising", "A larger reading is a line that is", choices=("long", "short"), group=_WORTH),)


def asked_of(table: Instrument) -> tuple[Asked, ...]:
    """Give what is asked of an instrument."""
    if table != "gauge":
        units = (NAMED, *get_args(ForceUnit))
        return (*(each._replace(choices=units) if each.key == "unit" else each for each in _ASKED), *_OF_A_SCALE)
    units = (NAMED, *get_args(LengthUnit))
    hints = {"units": "inch = in", "status": "still = stable, moving = unstable"}
    own = (each._replace(hint=hints.get(each.key, each.hint)) for each in _ASKED if TEXT in each.formats)
    asked = (each._replace(choices=units) if each.key == "unit" else each for each in own if each.key != "format")
    return (*asked, *_OF_A_GAUGE)


def fields_of(table: Instrument) -> list[Field]:
    """Give the fields of an instrument, by the keys of the file."""
    return [
        Field(
            f"{table}.{each.key}",
            each.label,
            each.required,
            hint=each.hint,
            choices=tuple(_said(each.key, choice) for choice in each.choices),
            group=each.group,
        )
        for each in asked_of(table)
    ]


def format_of(table: Instrument, typed: Mapping[str, str]) -> str:
    """Give the format that is chosen."""
    return _meant("format", typed.get(f"{table}.format", TEXT), FORMATS)


def shown_of(table: Instrument, values: Mapping[str, str], text: str) -> dict[str, str]:
    """Give what stands in the fields for what a station file says: its values by key, and its text."""
    shown: dict[str, str] = {}
    for each in asked_of(table):
        key = f"{table}.{each.key}"
        value = values.get(key, "")
        if each.kind == "words":
            shown[key] = shown_words(words_of(text, table, each.key))
        elif each.kind == "bytes":
            shown[key] = shown_bytes(value)
        elif each.choices:
            shown[key] = _said(each.key, value or each.choices[0])
        else:
            shown[key] = value
    return shown


def answers_of(
    table: Instrument, typed: Mapping[str, str], values: Mapping[str, str], text: str
) -> dict[Key, Value | None]:
    """Give, key by key, what was typed as the file has it; None where it is not said.

    What another format has is taken out. Raises `SettingsFault` with the key for bytes or words that are none.
    """
    form = format_of(table, typed)
    found: dict[Key, Value | None] = {}
    for each in asked_of(table):
        key = f"{table}.{each.key}"
        answer = typed.get(key, "") if form in each.formats else ""
        if each.kind == "words":
            words = typed_words(answer, key)
            found |= {(table, each.key, word): words.get(word) for word in {**words_of(text, table, each.key), **words}}
        elif each.kind == "bytes":
            found[key] = _read_bytes(answer, key) or None
        elif each.choices:
            found[key] = _chosen(each, answer, key in values)
        else:
            found[key] = (plain_number(answer) if each.kind == "number" else answer) if answer else None
    return found


def blamed(table: Instrument, fault: SettingsFault) -> tuple[str, str]:
    """Say which field is to blame for a fault of the station file, '' where it is none of them, and what it says."""
    keys = [f"{table}.{each.key}" for each in asked_of(table)] + ["station.name", "station.mark"]
    key = next((key for key in keys if fault.key == key or fault.key.startswith(f"{key}.")), "")
    if key:
        return key, fault.why
    said = re.search(rf"\[{table}\] (?P<key>\w+): (?P<why>.*)", str(fault), re.DOTALL)
    if said and f"{table}.{said['key']}" in keys:
        return f"{table}.{said['key']}", said["why"]
    return "", str(fault)


def words_of(text: str, table: str, key: str) -> dict[str, str]:
    """Give an instrument's words, each with what it means, as a station file has them."""
    words = tomllib.loads(text).get(table, {}).get(key, {})
    return {word: str(meant) for word, meant in words.items()} if isinstance(words, dict) else {}


def shown_words(words: Mapping[str, str]) -> str:
    """Write words with what they mean as they are typed."""
    return ", ".join(f"{_quoted(word)} = {meant}" for word, meant in words.items())


def typed_words(text: str, key: str) -> dict[str, str]:
    """Read words with what they mean as they are typed. Raises `SettingsFault` with `key` for what is none."""
    found: dict[str, str] = {}
    rest = text.strip()
    while rest:
        part = re.match(r'\s*(?:"((?:[^"\\]|\\.)*)"|([^",=]+?))\s*=\s*([^",=]+?)\s*(?:,|$)', rest)
        word = _read_bytes(part[1], key) if part and part[1] is not None else part[2].strip() if part else ""
        if part is None or not word or word in found:
            why = f"found {rest!r}, expected each of its words once with what it means, as in lb = lbf"
            raise SettingsFault(why, key, why)
        found[word] = part[3]
        rest = rest[part.end() :].strip()
    return found


def shown_bytes(text: str) -> str:
    """Write bytes as they are typed: what cannot be printed as an escape."""
    return "".join(each if each.isprintable() and each != "\\" else json.dumps(each)[1:-1] for each in text)


def typed_bytes(text: str) -> str:
    r"""Read bytes as they are typed. Raises `ValueError` for a backslash that begins no escape.

    >>> typed_bytes(r"\q")
    Traceback (most recent call last):
    ...
    ValueError: found '\\q', expected \r, \n, \t, \\ or \u and four figures
    """

    def read(escape: re.Match[str]) -> str:
        if not re.fullmatch(r'\\(?:[bfnrt"\\]|u[0-9a-fA-F]{4})', escape[0]):
            raise ValueError(f"found {escape[0]!r}, expected \\r, \\n, \\t, \\\\ or \\u and four figures")
        return str(json.loads(f'"{escape[0]}"'))

    return re.sub(r"\\(?:u[0-9a-fA-F]{4}|.|$)", read, text)


def _read_bytes(text: str, key: str) -> str:
    try:
        return typed_bytes(text)
    except ValueError as fault:
        raise SettingsFault(str(fault), key, str(fault)) from None


def _quoted(word: str) -> str:
    plain = word == word.strip() and word.isprintable() and not set(word) & set(',="\\')
    return word if plain else '"' + shown_bytes(word).replace('"', '\\"') + '"'


def _said(key: str, value: str) -> str:
    return _SAID.get(key, {}).get(value, value)


def _meant(key: str, said: str, choices: tuple[str, ...]) -> str:
    return next((choice for choice in choices if _said(key, choice) == said), choices[0])


def _chosen(asked: Asked, answer: str, is_there: bool) -> Value | None:
    """Give what is chosen; what is so without being said is not written where the file does not say it."""
    value = _meant(asked.key, answer, asked.choices) if answer else ""
    is_needed = asked.key in {"format", "number"}
    if not value or value == NAMED or (value == asked.choices[0] and not is_there and not is_needed):
        return None
    return plain_number(value) if asked.kind == "number" else value
