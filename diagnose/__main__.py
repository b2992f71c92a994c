"""Start the command: ``rowfault`` and ``python -m diagnose`` are the same."""

from __future__ import annotations

import gc
import os
import signal
import sys


def main() -> None:
    """Run the command line and end the process with its exit status.

    Everything is imported here, so that Ctrl-C meanwhile ends as quietly as later. Products of
    matrices are small here: a second thread costs more than it brings.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.disable()  # looking through what was imported, again and again, takes a tenth of a start
    try:
        from diagnose.faces.commands.root import rowfault
        from diagnose.faces.streams import flushed

        try:
            rowfault(prog_name="rowfault")
        except SystemExit as ended:
            sys.exit(flushed(ended.code))
    except KeyboardInterrupt:
        sys.exit(128 + signal.SIGINT)


if __name__ == "__main__":
    main()
