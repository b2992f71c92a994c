"""Start the command: ``rowfault`` and ``python -m diagnose`` are the same."""

from __future__ import annotations

import gc
import os
import signal
import sys

_INTERRUPTED = 128 + signal.SIGINT


def main() -> None:
    """Run the command line and end the process with its exit status."""
    try:
        status = _status()
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # from here on it ends the process, quietly
    except KeyboardInterrupt:
        status = _INTERRUPTED
    sys.exit(status)


def _status() -> str | int | None:
    """Run the command line; its exit status, whatever happened.

    Everything is imported here, so that Ctrl-C meanwhile ends as quietly as later. Products of
    matrices are small here: a second thread costs more than it brings.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # looking for some takes time
    gc.disable()  # looking through what was imported, again and again, takes a tenth of a start
    sys.unraisablehook = lambda _: None  # what fails while Python clears up helps nobody
    from diagnose.ui.streams import flushed, nothing_closed

    nothing_closed()
    try:
        from diagnose.ui.cli.root import rowfault

        rowfault(prog_name="rowfault")
    except SystemExit as ended:
        return flushed(ended.code)
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        from diagnose.ui.cli.ending import message_of

        return flushed(message_of(error))
    return flushed(0)


if __name__ == "__main__":
    main()
