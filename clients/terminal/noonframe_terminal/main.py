"""The way in: arguments to exit code, with every expected trouble as a plain line."""

import gc
import sys
from collections.abc import Sequence

from noonframe_terminal.trouble import ANSWERED, INTERRUPTED, SERVICE_FAILED, Trouble


def run() -> None:
    """Run the command line of this process."""
    gc.disable()  # collecting takes a seventh of a short command's time; `serve` turns it on again
    for stream in (sys.stdout, sys.stderr):
        # a terminal without the degree sign gets a question mark rather than a traceback
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    sys.exit(main(sys.argv[1:]))


def main(arguments: Sequence[str]) -> int:
    """Run one command; its exit code."""
    try:
        return _command(list(arguments) or ["--help"])
    except KeyboardInterrupt:
        return INTERRUPTED


def _command(arguments: list[str]) -> int:
    import typer

    from noonframe_terminal.commands import commands_for
    from noonframe_terminal.paper import complain

    try:
        command = typer.main.get_command(commands_for(arguments))
        code = command.main(arguments, prog_name="noonframe", standalone_mode=False)
    except Trouble as trouble:
        complain(*trouble.lines)
        return trouble.exit_code
    except typer.TyperException as problem:  # an option that does not exist, an argument left out
        where = getattr(getattr(problem, "ctx", None), "command_path", "noonframe")
        complain(problem.format_message(), f"{where} --help tells more")
        return problem.exit_code
    except Exception as fault:  # left alone it would end with 1, which says that the light does not suffice
        import traceback

        traceback.print_exc()
        complain(f"a fault of noonframe itself ({type(fault).__name__}); the lines above help to mend it")
        return SERVICE_FAILED
    return code if isinstance(code, int) else ANSWERED
