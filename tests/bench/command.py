"""The whole command on 12 rows against importing its libraries alone, both in one run.

Run with ``python -m tests.bench.command``. Which libraries the command uses is not guessed: they
are the third-party packages and the standard library's modules that it has loaded at its end.
Our own modules are compiled beforehand, as those of the libraries are and as installing does.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time

ARGUMENTS = [
    "rank", "mounted-12", "bleed=PPPPPPPPPPPP", "response=PPPFPPPPPPPP", "oil=54C", "engine=on",
]  # fmt: skip
RUNS = 10

ENVIRONMENT = {
    name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"
} | {"PYTHONWARNINGS": "ignore"}

LOADED = """
import runpy, sys, contextlib, io
sys.argv = ["rowfault", *sys.argv[1:]]
with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):
    runpy.run_module("diagnose", run_name="__main__")
own = {"diagnose", "__main__", "runpy"}
names = [n for n in sys.modules if n.split(".")[0] not in own and not n.startswith("_")]
print("\\n".join(names))
"""


def seconds(command: list[str]) -> float:
    """How long a process takes."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
    return time.perf_counter() - start


def libraries() -> list[str]:
    """The modules that are not our own and that the command has loaded at its end."""
    command = [sys.executable, "-c", LOADED, *ARGUMENTS]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=ENVIRONMENT)
    return done.stdout.split()


def main() -> None:
    """Print both medians and their ratio, the runs interleaved."""
    names = libraries()
    imports = (
        "import importlib\nfor name in " + repr(names) + ":\n"
        "    try: importlib.import_module(name)\n    except ImportError: pass\n"
    )
    whole, alone = [], []
    for _ in range(RUNS):
        whole.append(seconds([sys.executable, "-m", "diagnose", *ARGUMENTS]))
        alone.append(seconds([sys.executable, "-c", imports]))
    ours, theirs = statistics.median(whole), statistics.median(alone)
    packages = sorted({name.split(".")[0] for name in names} - set(sys.stdlib_module_names))
    print(f"libraries: {', '.join(packages)} ({len(names)} modules)")
    print(f"whole command {ours * 1e3:.0f} ms, imports alone {theirs * 1e3:.0f} ms: "
          f"x{ours / theirs:.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
