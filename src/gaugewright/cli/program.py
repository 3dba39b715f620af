"""How every command ends: done, refused in one line, or stopped; never a traceback.

Exit codes: 0 done; 2 the input is refused, with one line on standard error; 1 findings
need a person, with ``--strict`` only; 70 a fault of the program itself; 130 stopped by
the person.
"""

import os
import sys
from collections.abc import Callable, Sequence
from typing import Any

from typer.core import TyperGroup
from typer.exceptions import Abort, TyperException

from gaugewright.errors import GaugewrightError

DONE, FINDINGS, REFUSED, FAULT, STOPPED = 0, 1, 2, 70, 130

DEBUG_VARIABLE = "GAUGEWRIGHT_DEBUG"
"""Set in the environment, faults of the program show their traceback."""


class Program(TyperGroup):
    """The group of all commands, with one way out for every error."""

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        windows_expand_args: bool = True,
        **extra: Any,
    ) -> Any:
        """Run a command line and leave with its exit code."""

        def run() -> Any:
            return super(Program, self).main(
                args, prog_name, complete_var, False, windows_expand_args, **extra
            )

        if not standalone_mode:
            return run()
        code = exit_code_of(run)
        _close_output()
        return sys.exit(code)


def exit_code_of(run: Callable[[], Any]) -> int:
    """Run something, say in one line on standard error what went wrong, give the exit code.

    >>> exit_code_of(lambda: None)
    0
    """
    try:
        result = run()
        sys.stdout.flush()
    except GaugewrightError as error:
        return _refuse(str(error), REFUSED)
    except TyperException as error:
        return _refuse(error.format_message(), error.exit_code)
    except (KeyboardInterrupt, Abort):
        return _refuse("stopped", STOPPED)
    except BrokenPipeError:  # the reader, such as `head`, has enough
        return DONE
    except SystemExit as leaving:  # how the command line library ends where its reader has
        if isinstance(leaving.__context__, BrokenPipeError):
            return DONE
        raise
    except MemoryError:
        return _refuse("not enough memory for this file", REFUSED)
    except Exception as error:  # the process ends here: no traceback may reach a user
        if os.environ.get(DEBUG_VARIABLE):
            raise
        return _refuse(
            f"this is a fault of the program, not of the input: {type(error).__name__}: {error} "
            f"(set {DEBUG_VARIABLE}=1 to see where)",
            FAULT,
        )
    return result if isinstance(result, int) else DONE


def _close_output() -> None:
    """Let nothing be written on the way out that cannot be: Python would end with 120."""
    try:
        sys.stdout.flush()
    except OSError:  # told above, or nobody reads on
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _refuse(message: str, code: int) -> int:
    line = " ".join(message.split())
    text = f"gaugewright: {line}\n"
    encoding = sys.stderr.encoding or "utf-8"
    sys.stderr.write(text.encode(encoding, "backslashreplace").decode(encoding))
    return code
