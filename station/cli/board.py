"""`fidbench board`: a board of sixteenths to print and read two lines on."""

from __future__ import annotations

from pathlib import Path

import click

from station.cli.answers import as_json, paper_option, print_json, say


@click.command()
@click.option("--out", "out", metavar="FILE.pdf", required=True, help="Where the page goes.")
@paper_option
@as_json
def board(out: str, paper: str, as_json: bool) -> int:
    """Write a board of sixteenths to print: true to scale at 100 %, with a check length both ways."""
    from station.records.board import CHECK_MM, board_pdf

    page = Path(out)
    page.write_bytes(board_pdf(paper))
    if as_json:
        across_m, along_m = (length / 1000 for length in CHECK_MM)
        print_json({"out": str(page), "paper": paper, "check_across_m": across_m, "check_along_m": along_m})
        return 0
    say(f"{page}: print it at 100 %, actual size. Measure both check lengths before any line is read.")
    return 0
