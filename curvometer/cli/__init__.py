"""The command line: parse, call, print; no arithmetic.

Exit codes: 0 done; 2 usage or bad input, one line on stderr; 3 measured, but a flag says do not trust it.
Every command is a module with a ``run(arguments) -> int`` that is imported when its command is called, so
that ``curvometer --help`` loads next to nothing.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence

DONE = 0
BAD_INPUT = 2
DO_NOT_TRUST = 3
INTERRUPTED = 130  # as a shell tells of Ctrl-C: 128 + SIGINT
PIPE_CLOSED = 141  # 128 + SIGPIPE


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv
        Arguments without the program's name; those of the process when None.

    Returns
    -------
    int
        The exit code.
    """
    try:
        # A name that the terminal cannot show must not end the program.
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="backslashreplace")
        code = _run(sys.argv[1:] if argv is None else list(argv))
        sys.stdout.flush()
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        # The reader went away (`| head`): nothing to say, and nothing more to flush at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return PIPE_CLOSED
    return code


def _run(argv: list[str]) -> int:
    from curvometer.cli.argument_kinds import UsageError  # noqa: PLC0415
    from curvometer.cli.arguments import parse  # noqa: PLC0415

    try:
        return _dispatch(parse(argv))
    except UsageError as error:
        return _refuse(str(error))
    except BrokenPipeError:
        raise
    except OSError as error:
        return _refuse(
            f"{error.filename or 'output'}: {error.strerror or error}; check the name and the disk"
        )
    except ValueError as error:
        # `CurvometerError` needs numpy to import; ask for it only when something went wrong.
        from curvometer.radiograph import CurvometerError  # noqa: PLC0415

        if not isinstance(error, CurvometerError):
            raise
        return _refuse(str(error))


def _dispatch(arguments: object) -> int:
    from importlib import import_module  # noqa: PLC0415

    options = vars(arguments)
    command = import_module(f"curvometer.cli.{options.get('module', options['command'])}")
    code: int = command.run(arguments)
    return code


def _refuse(sentence: str) -> int:
    """Tell what is wrong in exactly one line."""
    print(f"curvometer: {' '.join(sentence.split())}", file=sys.stderr)
    return BAD_INPUT
