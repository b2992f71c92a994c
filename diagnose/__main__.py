"""Start the command: ``rowfault`` and ``python -m diagnose`` are the same."""

from __future__ import annotations

from diagnose.faces.commands.root import rowfault


def main() -> None:
    """Run the command line and end the process with its exit status."""
    rowfault(prog_name="rowfault")


if __name__ == "__main__":
    main()
