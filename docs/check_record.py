"""Check an exported record without fidbench, by `python3 check_record.py EXPORT.jsonl [ANCHOR]`.

Standard library alone, and short, so that you can read what it does. Each line of an export is an entry (its text is
`body`, the SHA-256 of that text `hash`) or a trace of readings. Checked are: every text against its hash; every entry
against the one before it; every name against its salted seal; every trace against the hash it is called by; and for
every hold recorded as held, that its readings stayed inside the limits for the time, with no gap longer than allowed.
Not checked are signatures, and the scale's uncertainty: fidbench's own `records verify` does both.
"""

import base64
import hashlib
import json
import struct
import sys
from itertools import pairwise
from pathlib import Path


def sha256(data):
    """Give the hash as sixty-four hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def wrong_names(found, names, path=()):
    """Say which names are not the ones that were sealed; `names` gives each one's salt and name, or null."""
    if isinstance(found, dict) and isinstance(found.get("salted"), str):
        known = names.get(".".join(path))
        if known and sha256("".join(known).encode()) != found["salted"]:
            yield f"the name under {'.'.join(path)} is not the one that was sealed"
    elif isinstance(found, dict) and len(path) < 2:
        for key, each in found.items():
            yield from wrong_names(each, names, (*path, key))


def wrong_hold(facts, packed):
    """Say why the readings do not bear out a hold recorded as held."""
    spec, (begin, end) = facts["specification"], facts["judgement"]["span_us"]
    (count,) = struct.unpack_from("<Q", packed, 4)
    steps = struct.unpack_from(f"<{2 * count}q", packed, 12)  # stamps, then pulls, each as the step from the last one
    statuses = packed[12 + 16 * count : 12 + 17 * count]  # 3 is an overload, 4 a fault: neither has a pull
    at = pull = 0
    inside = []
    for n in range(count):
        at, pull = at + steps[n], pull + steps[count + n]
        if statuses[n] == 3 or (statuses[n] != 4 and pull > spec["ceiling_mn"]):
            yield "a reading lies over the ceiling"
        if begin <= at <= end:
            inside.append((at, -1 if statuses[n] == 4 else pull))
    gaps = [later[0] - earlier[0] for earlier, later in pairwise(inside)]
    if sum(gaps) < spec["duration_us"] or max(gaps) > spec["max_gap_us"]:
        yield "the time in the band is too short, or not watched throughout"
    if not all(spec["low_mn"] <= pull <= spec["high_mn"] for _, pull in inside):
        yield "a reading lies outside the band"


def wrong_entry(entry, before, traces):
    """Say what is wrong with one entry; `before` is the number and hash of the one before it in this export."""
    if sha256(entry["body"].encode()) != entry["hash"]:
        yield "its text was altered"
        return
    body = json.loads(entry["body"])
    facts = body["entry"]
    if (body["bench"], body["seq"]) != (entry["bench"], entry["seq"]) or entry["seq"] <= before[0]:
        yield "it stands in another's place"
    elif entry["seq"] == before[0] + 1 and body["prev"] != before[1]:
        yield "it was not sealed on the entry before it"
    yield from wrong_names(facts, entry.get("names", {}))
    if "trace" in facts and facts["trace"] not in traces:
        yield "its trace is missing"
    elif facts["kind"] == "hold-judged" and facts["judgement"]["verdict"] == "held":
        yield from (f"recorded as held, and {why}" for why in wrong_hold(facts, traces[facts["trace"]]))


def check(lines, anchor=""):
    """Give what is wrong and what was looked at, in words."""
    read = [json.loads(line) for line in lines]
    packed = {line["trace"]: base64.b64decode(line["packed"]) for line in read if "trace" in line}
    traces = {name: readings for name, readings in packed.items() if sha256(readings) == name}
    wrong = [f"trace {name}: its readings were altered" for name in packed.keys() - traces.keys()]
    last, unlinked, entries = {}, 0, [line for line in read if "body" in line]
    for entry in entries:
        before = last.get(entry["bench"], (0, "0" * 64))
        unlinked += entry["seq"] != before[0] + 1
        wrong += (f"entry {entry['seq']} of {entry['bench']}: {why}" for why in wrong_entry(entry, before, traces))
        last[entry["bench"]] = (entry["seq"], entry["hash"])
    covered = [f"entry {entry['seq']} of {entry['bench']}" for entry in entries if entry["hash"] == anchor]
    if anchor:
        wrong += [] if covered else ["the anchor is of no entry here"]
    wrong += [] if entries else ["there is no entry in this file: nothing was checked"]
    told = [f"{len(entries)} entries, {len(traces)} traces looked at"]
    told += [f"{unlinked} entries follow ones that are not in this export"] if unlinked else []
    return wrong, [*told, *(f"the anchor is that of {each}" for each in covered)]


if __name__ == "__main__":
    with Path(sys.argv[1]).open(encoding="utf-8") as file:
        found, looked_at = check(file, "".join(sys.argv[2:]).lower())
    print("\n".join([*found, *looked_at, "DAMAGED" if found else "Nothing is damaged."]))
    sys.exit(1 if found else 0)
