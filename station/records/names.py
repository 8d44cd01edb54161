"""Names of persons, kept beside what is sealed, so that one can be withheld without breaking the chain.

In a sealed body stands, in a name's place, only its *seal*: `{"salted": HASH}`, the SHA-256 of the UTF-8 text of a salt
(thirty-two hexadecimal digits, drawn anew for each name) followed by the name. Salt and name stand beside the body.
Whoever has them can see that this was the name; whoever has the body alone can neither read nor guess it.

What is kept so: `by` and `certificate` of any entry, and everything under `people` and `owner` when a job is opened. A
name that somebody wrote into free text (a note, a statement, a reason) is not, for nobody can tell it is one.

>>> facts, names = seal_names({"kind": "signed-off", "by": "Ansa Velling", "certificate": ""}, lambda: "00" * 16)
>>> facts["by"]["salted"][:16], facts["certificate"]
('c1fd4447ea2b6a97', '')
>>> opened(facts, names)["by"], opened(facts, withheld(names))["by"]
('Ansa Velling', 'name withheld')
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import rfc8785

from station.records.chain import digest, no_float

Names = Mapping[str, tuple[str, str] | None]  # path of a field -> salt and name, or None where it is withheld

NONE = "{}"
WITHHELD = "name withheld"
ALTERED = "name altered"
_FIELDS = ("by", "certificate")
_GROUPS = ("people", "owner")


class NamesFault(ValueError):
    """What stands beside a body is no names; the message says why."""


def seal_names(facts: Mapping[str, Any], salt: Callable[[], str]) -> tuple[dict[str, Any], Names]:
    """Give the facts to be sealed, each name in them replaced by its seal, and the names to keep beside them.

    `salt` gives thirty-two hexadecimal digits, other ones each time.
    """
    names: dict[str, tuple[str, str] | None] = {}

    def sealed(path: str, found: object) -> object:
        if not isinstance(found, str) or not found:
            return found
        grain = salt()
        names[path] = (grain, found)
        return {"salted": digest((grain + found).encode())}

    changed = dict(facts)
    for field in _FIELDS:
        if field in facts:
            changed[field] = sealed(field, facts[field])
    for group in _GROUPS:
        if isinstance(facts.get(group), Mapping):
            changed[group] = {key: sealed(f"{group}.{key}", found) for key, found in facts[group].items()}
    return changed, names


def seals(facts: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Give the path and hash of every sealed name in facts."""
    for path, found in _places(facts):
        if isinstance(found, Mapping) and isinstance(found.get("salted"), str):
            yield path, found["salted"]


def opened(facts: Mapping[str, Any], names: Names) -> dict[str, Any]:
    """Give facts with their names: where one is withheld, or is not the one that was sealed, that is said instead."""
    told = dict(facts)
    for path, seal in seals(facts):
        known = names.get(path)
        name = WITHHELD if known is None else known[1] if digest("".join(known).encode()) == seal else ALTERED
        group, _, key = path.partition(".")
        told[group] = {**told[group], key: name} if key else name
    return told


def withheld(names: Names, which: Callable[[str], bool] = lambda _: True) -> Names:
    """Give the names with those withheld that `which` picks."""
    return {path: None if known is None or which(known[1]) else known for path, known in names.items()}


def text_of(names: Names) -> str:
    """Give names as the text that is kept: canonical JSON of path to salt and name, or to null."""
    return rfc8785.dumps({path: list(known) if known else None for path, known in names.items()}).decode()


def read_names(text: str) -> Names:
    """Read names as they are kept. Raises `NamesFault` for what `text_of` never writes."""
    if text == NONE:
        return {}
    try:
        read = json.loads(text, parse_float=no_float, parse_constant=no_float)
        canonical = rfc8785.dumps(read).decode()
    except (ValueError, RecursionError):
        raise NamesFault("cannot be read") from None
    if canonical != text or not isinstance(read, dict):
        raise NamesFault("are not written as they were")
    for known in read.values():
        if known is not None and not (
            isinstance(known, list) and len(known) == 2 and all(isinstance(each, str) for each in known)
        ):
            raise NamesFault("are not whole")
    return {path: None if known is None else (known[0], known[1]) for path, known in read.items()}


def what_is_wrong(facts: Mapping[str, Any], names: Names) -> list[str]:
    """Say what is wrong with the names kept beside sealed facts."""
    sealed = dict(seals(facts))
    wrong = [f"the name under {path!r} was put in" for path in sorted(set(names) - set(sealed))]
    wrong += [f"the name under {path!r} was taken out" for path in sorted(set(sealed) - set(names))]
    for path, known in names.items():
        if known is not None and path in sealed and digest("".join(known).encode()) != sealed[path]:
            wrong.append(f"the name under {path!r} is not the one that was sealed")
    return wrong


def _places(facts: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for field in _FIELDS:
        yield field, facts.get(field)
    for group in _GROUPS:
        if isinstance(facts.get(group), Mapping):
            for key, found in facts[group].items():
                yield f"{group}.{key}", found
