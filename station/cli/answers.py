"""What commands share: answers as text or JSON, quantities as options, and which faults are a person's to mend."""

from __future__ import annotations

import json
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import click

from station.settings.preferences import PAPERS
from station.units import Kind, QuantityFault, quantity


def say(text: str) -> None:
    """Print a line for a person on standard output."""
    click.echo(text)


def warn(text: str) -> None:
    """Print a line of progress or warning on standard error."""
    click.echo(text, err=True)


def print_json(answer: Any) -> None:
    """Print one JSON document on one line. Numbers are SI; not-a-number and infinity cannot be printed."""
    click.echo(json.dumps(answer, allow_nan=False, ensure_ascii=False))


class Quantity(click.ParamType[Fraction]):
    """An option that is a quantity of one kind, given in SI units, exactly."""

    def __init__(self, kind: Kind) -> None:
        self.kind: Kind = kind
        self.name = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Fraction:
        """Read the option's text."""
        if isinstance(value, Fraction):
            return value
        try:
            return quantity(value, self.kind)
        except QuantityFault as fault:
            self.fail(str(fault), param, ctx)


class Commands(click.Group):
    """Commands, of which the nearest is named where one is misspelt."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is called."""
        import difflib

        known = self.list_commands(ctx)
        if args and args[0] not in known and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], known, 1)
            hint = f"; the nearest is {near[0]!r}" if near else f"; expected one of {', '.join(known)}"
            ctx.fail(f"there is no command {args[0]!r}{hint}")
        return super().resolve_command(ctx, args)


def say_table(rows: Sequence[Sequence[str]]) -> None:
    """Print rows of cells under each other, as wide as each column needs."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        say("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip())


FORCE = Quantity("force")
LENGTH = Quantity("length")
TIME = Quantity("time")
MASS = Quantity("mass")
ANGLE = Quantity("angle")
RATIO = Quantity("ratio")
as_json = click.option("--json", "as_json", is_flag=True, help="Print JSON, in SI units, instead of text.")
paper_option = click.option(
    "--paper", type=click.Choice(PAPERS), default=PAPERS[0], show_default=True, help="The sheet it is for."
)
archive_option = click.option(
    "--archive", "where", required=True, metavar="A", help="The archive: a file, sqlite:///FILE, or a server's URL."
)
