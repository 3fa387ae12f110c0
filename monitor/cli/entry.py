"""Where the command `keyoff` begins and how it ends: exit codes, errors in two lines, a reader that went away.

Exit codes: 0 done; 1 the reader of the output went away; 2 an input, a setting or an option that cannot be used;
70 a fault of the program itself; 130 interrupted.
"""

from __future__ import annotations

import contextlib
import os
import sys

from monitor import __version__

EXIT_PIPE_CLOSED = 1  # as typer and rich end when they meet it first
EXIT_UNUSABLE = 2
EXIT_FAULT = 70
EXIT_INTERRUPTED = 130


def main() -> int:
    """Run the command line in `sys.argv`; returns the exit code."""
    try:
        code = _version() if sys.argv[1:] == ["--version"] else _command()
        sys.stdout.flush()
    except BrokenPipeError:
        _forget_stdout()
        return EXIT_PIPE_CLOSED
    except KeyboardInterrupt:
        return EXIT_INTERRUPTED
    except Exception as fault:  # the last resort: a person gets two lines, a developer the traceback
        if os.environ.get("KEYOFF_TRACEBACK"):
            raise
        _refuse(
            f"a fault of the program itself: {type(fault).__name__}: {fault}",
            "report it with what KEYOFF_TRACEBACK=1 in the environment prints",
        )
        return EXIT_FAULT
    return code


def _version() -> int:
    """Answered before anything else is imported: scripts ask for it often."""
    sys.stdout.write(f"keyoff {__version__}\n")
    return 0


def _command() -> int:
    # Before numpy is imported: its linear algebra would start a thread a core, and no fit here is large enough for two.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Before pydantic is: it would look through every installed distribution for plugins, and none is meant to be here.
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # Before pyarrow is: its own pools keep what they once had, so that memory creeps up with the length of a log.
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")
    from typer import Abort, Exit, TyperException

    from monitor.base.errors import KeyoffError
    from monitor.cli.app import COMMANDS, app

    try:
        code = app(sys.argv[1:] or ["--help"], standalone_mode=False)
    except TyperException as wrong:
        words = [word for word in sys.argv[1:2] if word in COMMANDS]
        return _refuse(wrong.format_message().replace("Value error, ", ""), " ".join(["keyoff", *words, "--help"]))
    except KeyoffError as wrong:
        return _refuse(wrong.what, wrong.remedy)
    except Exit as ended:
        return ended.exit_code
    except Abort:
        return EXIT_INTERRUPTED
    except OSError as wrong:
        if isinstance(wrong, BrokenPipeError):
            raise
        return _refuse(str(wrong), "see to the file or disk it names, then run the same command again")
    return code if isinstance(code, int) else 0


def _refuse(what: str, remedy: str) -> int:
    lines = "".join(f"{label}: {' '.join(text.split())}\n" for label, text in (("Error", what), ("Try", remedy)))
    encoding = sys.stderr.encoding or "ascii"
    sys.stderr.write(lines.encode(encoding, "replace").decode(encoding))
    return EXIT_UNUSABLE


def _forget_stdout() -> None:
    """Point stdout at nothing, so that the flush at interpreter exit stays quiet."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
