"""The application: gathers the commands and turns errors into one clear message and an exit code.

Exit codes, except for `with`, which returns that of its command: 0 done; 1 the run or check ended badly; 2 the user
must mend something; 3 a defect of busim; 130 ended by Ctrl-C.
"""

from __future__ import annotations

import os
import sys
from importlib.machinery import ExtensionFileLoader, PathFinder
from pathlib import Path
from typing import Annotated

import typer

from busim.cli.commands import Commands
from busim.cli.stdio import FULL, prepare, undelivered
from busim.foundation.errors import BusimError, UserError
from busim.foundation.version import VERSION

app = typer.Typer(
    name="busim",
    cls=Commands,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="A camera bus on shared RS-485 lines, in software: check a plan, rehearse it, connect a controller.\n\n"
    "Begin with: busim new plan NAME, busim check NAME.yaml, busim run NAME.yaml. The handbook: busim explain.",
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"busim {VERSION} ({_core()} core)")
        raise typer.Exit


def _core() -> str:
    """Which core would run, told by the file that Python would load as its kernel: loading it takes far longer."""
    here = str(Path(__file__).parent.parent / "simulator" / "kernel")
    found = PathFinder.find_spec("busim.simulator.kernel.scheduler", [here])
    return "compiled" if found is not None and isinstance(found.loader, ExtensionFileLoader) else "pure Python"


@app.callback()
def options(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Print the version and which core runs, and exit."
        ),
    ] = False,
) -> None:
    """The options of `busim` without a command."""


def main() -> None:
    """Run the command line and exit."""
    prepare()
    try:
        app()
    except SystemExit:
        _delivered()
        raise
    except UserError as error:
        _tell(str(error))
        sys.exit(2)
    except KeyboardInterrupt:
        sys.exit(130)
    except Exception as error:  # a traceback helps nobody on site; for a report the variable shows it
        if isinstance(error, OSError) and error.errno in FULL:
            _delivered(error.strerror)
        if os.environ.get("BUSIM_TRACEBACK"):
            raise
        what = str(error) if isinstance(error, BusimError) else f"{type(error).__name__}: {error}"
        _tell(
            f"busim itself is at fault: {what}. Please report this with the plan, and with its output when "
            "BUSIM_TRACEBACK=1 is set."
        )
        sys.exit(3)


def _tell(text: str) -> None:
    """Print on standard error, wrapped at its width."""
    from busim.cli.screen import visible, width, wrap

    for line in text.split("\n"):
        indent = len(line) - len(line.lstrip())
        for part in wrap(visible(line.strip()), width(sys.stderr), indent, indent + 2):
            print(part, file=sys.stderr)


def _delivered(failed: str | None = None) -> None:
    """Exit with 2 if standard output could not be written, now or before."""
    if reason := undelivered() or failed:
        _tell(f"standard output cannot be written; found {reason}. To mend: send it elsewhere")
        sys.exit(2)
