r"""Writing settings: the TOML a person could have written, read back by its own strict loader before it counts.

* What a person wrote stays as it was: comments, order, and every key that is not answered anew.
* A file is replaced whole or not at all. Where the new text is refused, the old file stands as it stood.
* Of [[tables]] one is named by its number, from 0; the number after the last makes a new one. What is new within one
  is written in a row, as in `link_end = { loop = "1 in" }`.

>>> print(edited('# ours\n[hold]\ntarget = "30 lbf"  # by hand\n', {"hold.target": "32 lbf", "hold.low": "29 lbf"}))
# ours
[hold]
target = "32 lbf"  # by hand
low = "29 lbf"
<BLANKLINE>
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Mapping, MutableMapping, MutableSequence
from pathlib import Path
from typing import Any, TypeVar

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

from station.settings.tables import SettingsFault

T = TypeVar("T")
Value = str | int | float | tuple[str | int, ...]
"""A value of a key; several in brackets are a tuple."""
Key = str | tuple[str, ...]
"""A key named from the top, with dots or, where a key has dots of its own, part by part."""


def edited(text: str, answers: Mapping[str, Value | None] | Mapping[Key, Value | None]) -> str:
    """Give TOML text with some keys answered anew; None takes a key out.

    A table that is left without keys goes as well; numbers are those before any table went. Raises `SettingsFault`
    where `text` is no TOML.
    """
    try:
        document = tomlkit.parse(text)
    except TOMLKitError as fault:
        raise SettingsFault(f"is not valid TOML: {fault}") from None
    answered = [(_parts(key) if isinstance(key, str) else key, value) for key, value in answers.items()]
    for path, value in answered:
        _put(document, list(path), value)
    above = {path[:depth] for path, _ in answered for depth in range(1, len(path))}
    for path in sorted(above, key=_last_first, reverse=True):
        _drop_empty(document, path)
    return tomlkit.dumps(document)


def _parts(key: str) -> tuple[str | int, ...]:
    """Give the parts of a key with dots; a number is that of one of [[tables]]. Named part by part it is a key."""
    return tuple(int(part) if part.isdecimal() else part for part in key.split("."))


def _put(table: Any, path: list[str | int], value: Value | None, in_a_row: bool = False) -> None:
    key, below = (int(path[0]) if isinstance(table, MutableSequence) else str(path[0])), path[1:]
    is_there = key < len(table) if isinstance(key, int) else key in table
    if not below:
        if value is None:
            if is_there:
                table.pop(key)
        elif not is_there or table[key] != (list(value) if isinstance(value, tuple) else value):
            table[key] = list(value) if isinstance(value, tuple) else value
        return
    if not is_there:
        if value is None:
            return
        _add(table, key, isinstance(below[0], int), in_a_row)
    if not isinstance(table[key], MutableMapping | MutableSequence):
        why = f"found {table[key]!r}, expected a table"
        raise SettingsFault(f"[{key}]: {why}", str(key), why)
    _put(table[key], below, value, in_a_row or isinstance(key, int))


def _add(table: Any, key: int | str, numbered: bool, in_a_row: bool) -> None:
    new: Any
    if numbered:
        new = tomlkit.array() if in_a_row else tomlkit.aot()
    else:
        new = tomlkit.inline_table() if in_a_row or isinstance(table, Array) else tomlkit.table()
    if isinstance(key, int):
        table.append(new)
    else:
        table[key] = new


def _last_first(path: tuple[str | int, ...]) -> tuple[int, list[tuple[int, str]]]:
    """Order paths so that, read backward, what lies deep comes before what holds it, and later numbers first."""
    return len(path), [(part, "") if isinstance(part, int) else (-1, part) for part in path]


def _drop_empty(document: Any, path: tuple[str | int, ...]) -> None:
    """Take out the table at `path` where it is left without keys."""
    table = document
    for part in path[:-1]:
        key = int(part) if isinstance(table, MutableSequence) else part
        if not (key < len(table) if isinstance(key, int) else key in table):
            return
        table = table[key]
    last = int(path[-1]) if isinstance(table, MutableSequence) else path[-1]
    if (last < len(table) if isinstance(last, int) else last in table) and not table[last]:
        table.pop(last)


def values_of(text: str) -> dict[str, str]:
    """Give what a TOML text says, key by key, named from the top with dots, as a person would type it into a form."""
    found: dict[str, str] = {}

    def walk(table: Mapping[str, Any], above: str) -> None:
        for key, value in table.items():
            if isinstance(value, Mapping):
                walk(value, f"{above}{key}.")
            elif isinstance(value, list) and value and all(isinstance(each, Mapping) for each in value):
                walk({str(number): each for number, each in enumerate(value)}, f"{above}{key}.")
            else:
                found[above + key] = str(value)

    try:
        walk(tomlkit.parse(text).unwrap(), "")
    except TOMLKitError as fault:
        raise SettingsFault(f"is not valid TOML: {fault}") from None
    return found


def plain_number(text: str) -> Value:
    """Give a typed number as one; any other text as it is, for the loader to refuse in its own words.

    >>> plain_number("9600"), plain_number("0.97"), plain_number("fast")
    (9600, 0.97, 'fast')
    """
    if re.fullmatch(r"[+-]?[0-9]{1,12}", text, re.ASCII):
        return int(text)
    return float(text) if re.fullmatch(r"[+-]?[0-9]{1,12}\.[0-9]{1,12}", text, re.ASCII) else text


def keep(path: Path, text: str, load: Callable[[Path], T], *, over: bool = True) -> T:
    """Write `text` as the file `path`, if `load` takes it; give what `load` gives.

    Raises the fault of `load`, which then names `path`, and `SettingsFault` where the file cannot be written, or is
    there already and nothing may be written `over`.
    """
    path = path.expanduser()
    path = path.resolve() if path.is_symlink() else path
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".new-", dir=path.parent) as folder:
            new = Path(folder, path.name)  # under its own name: a hold is called as its file is
            with new.open("w", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            if path.exists():
                shutil.copymode(path, new)
            try:
                load(new)
            except SettingsFault as fault:
                raise SettingsFault(str(fault).replace(str(new), str(path)), fault.key, fault.why) from None
            if over:
                new.replace(path)
            else:
                _put_where_none_is(new, path)
    except OSError as fault:
        raise SettingsFault(f"{path}: cannot be written: {fault.strerror or fault}; name another folder") from None
    return load(path)


def _put_where_none_is(new: Path, path: Path) -> None:
    try:
        os.link(new, path)
    except FileExistsError:
        raise SettingsFault(f"{path}: is there already, and nothing is written over; give another name") from None
