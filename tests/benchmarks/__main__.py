"""`python -m tests.benchmarks --json`: every figure asked for, in one run, each beside the ceiling of the same run.

Each module here gives `figures()`: dicts with `name`, `value`, `unit`, `asked`, `ceiling`, `ratio` (value over ceiling;
null where there is none) and `met`. The table goes to `docs/figures.md` unless `--no-table` is given.
"""

from __future__ import annotations

import argparse
import datetime
import importlib
import importlib.metadata
import json
import os
import platform
import sqlite3
import sys
from pathlib import Path
from typing import Any

from tests.campaigns.campaign import every

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
HERE = Path(__file__).parent
TABLE = HERE.parent.parent / "docs" / "figures.md"


def main() -> int:
    """Measure, print and write the table; status 1 where a figure falls short."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", action="store_true")
    options.add_argument("--no-table", action="store_true")
    options.add_argument("--only", metavar="MODULE", help="measure one module alone; writes no table")
    asked = options.parse_args()
    names = sorted(path.stem for path in HERE.glob("*.py") if not path.stem.startswith("_"))
    found: list[dict[str, Any]] = []
    for name in [asked.only] if asked.only else names:
        print(f"measuring {name} ...", file=sys.stderr)
        found += importlib.import_module(f"tests.benchmarks.{name}").figures()
    if asked.json:
        print(json.dumps(found))
    else:
        print("\n".join(row(each) for each in found))
    if not asked.no_table and not asked.only:
        TABLE.write_text(table(found), encoding="utf-8")
    return 0 if all(each["met"] is not False for each in found) else 1


def shown(value: Any) -> str:
    """Write a number with as many digits as it is worth."""
    if value is None:
        return ""
    if not isinstance(value, float | int):
        return str(value)
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def row(each: dict[str, Any]) -> str:
    """Write one figure as a row of the table."""
    met = {True: "yes", False: "**no**", None: ""}[each["met"]]
    cells = [each["name"], shown(each["value"]), each["unit"], str(each["asked"]), shown(each["ceiling"])]
    return f"| {' | '.join([*cells, shown(each['ratio']), met])} |"


def campaigns() -> list[str]:
    """Write the rows of what runs longer, each from its own file."""
    return [
        "Longer runs have commands of their own; what came of them stands in [proof.md](proof.md):",
        "",
        "| campaign | unless told | command |",
        "|---|---|---|",
        *(f"| {told.what[:1].lower()}{told.what[1:]} | {told.size} | `{told.command}` |" for told in every()),
    ]


def table(found: list[dict[str, Any]]) -> str:
    """Write the whole page."""
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in ("numpy", "PyQt6", "SQLAlchemy"))
    lines = [
        "# Figures",
        "",
        "Measured by `python -m tests.benchmarks --json`, which writes this page. Every figure stands as it came out,",
        "beside what was asked and, where there is one, the ceiling of the same run (the bare work without us).",
        "",
        f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d}; {os.cpu_count()} cores, {platform.machine()}, "
        f"{platform.system()} {platform.release()}; Python {platform.python_version()}, {versions}, "
        f"SQLite {sqlite3.sqlite_version}.",
        "",
        "| figure | value | unit | asked | ceiling | ratio | met |",
        "|---|---|---|---|---|---|---|",
        *(row(each) for each in found),
        "",
        *campaigns(),
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main())
