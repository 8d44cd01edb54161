"""The commands: each in a module of its own, imported only when it is called, so that --help answers at once.

Exit status: 0 done and the finding is good; 1 done and it is not; 2 the input or the usage is wrong (what was found and
expected stands on standard error); 3 the hardware was never reached.
"""

from __future__ import annotations

import importlib
import sys
from typing import cast

import click

from station.cli.answers import Commands

# Command -> (module below station.cli, its one-line help).
COMMANDS = {
    "adjust": ("lines", "Tell how much to take in or let out at a canopy end."),
    "board": ("board", "Write a board of sixteenths to print, to read two lines on."),
    "braid": ("lines", "Tell how a trap shortens a braid, from its geometry."),
    "checkup": ("checkup", "Look at this machine and say what to do."),
    "control": ("control", "Tell whether lengths, holds and scales are in control, and where to look."),
    "demo": ("bench", "Work a whole invented job on simulated hardware."),
    "hold": ("holds", "Judge one hold on real hardware, without a window."),
    "judge": ("holds", "Judge stored traces."),
    "listen": ("listen", "Show what a scale or pedal really sends, and propose a description that reads it."),
    "marks": ("lines", "Tell order, marks, cut lengths, sewing and what may go wrong, from a line plan."),
    "open": ("bench", "Open the bench window."),
    "ports": ("ports", "List serial ports by their lasting names."),
    "records": ("records", "List, show, check and report what is filed."),
    "scale-check": ("scale", "Tell a scale's class, error and uncertainty from a check with weights."),
    "shrinkage": ("lines", "Tell what your own trials say of a braid's shortening."),
    "simulate": ("ports", "Serve a virtual scale and pedal on real ports."),
    "trials": ("trials", "Tell what the archive's own jobs say of a trap's shortening, and leave a trial out."),
    "trim": ("trim", "Tell whether a whole line set is in trim, and the fewest lines to remake."),
}


class Bench(Commands):
    """The top command: knows its commands by name, and imports the one that is called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 -- click's own face
        """Give the commands' names in order."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 -- click's own face
        """Import the command that is called."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"station.cli.{COMMANDS[cmd_name][0]}")
        return cast(click.Command, getattr(module, {"open": "open_bench"}.get(cmd_name, cmd_name.replace("-", "_"))))

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in sorted(COMMANDS)])


@click.group(cls=Bench, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="fidbench")
def group() -> None:
    """Judge the pre-stretch hold, tell where to mark and how deep to trap, and file a record anyone can check.

    The maker's instructions, local rules and licensed practice come before every number this program gives.
    """


def main() -> None:
    """Run the command line and exit with its status; a fault in what was given is said in words and ends with 2."""
    from station.faults import is_fault

    try:
        status = group(standalone_mode=False)
    except click.exceptions.Exit as left:
        status = left.exit_code
    except click.ClickException as fault:
        context = fault.ctx if isinstance(fault, click.UsageError) else None
        click.echo(f"fidbench: {fault.format_message()}", err=True)
        click.echo(f"see {context.command_path if context else 'fidbench'} --help", err=True)
        status = 2
    except click.Abort:
        click.echo("stopped", err=True)
        status = 130
    except BrokenPipeError:
        sys.stderr.close()
        status = 0
    except OSError as fault:
        place = f"{fault.filename}: " if fault.filename else ""
        click.echo(f"fidbench: {place}{fault.strerror or fault}; name another place, or make room there", err=True)
        status = 2
    except Exception as fault:
        if not is_fault(fault):
            raise
        click.echo(f"fidbench: {fault}", err=True)
        status = 2
    sys.exit(status if isinstance(status, int) else 0)


def bench() -> None:
    """Open the bench window: what the desktop's own entry calls."""
    sys.argv[1:] = ["open", *sys.argv[1:]]
    main()
