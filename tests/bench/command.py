"""The whole command on 12 rows against importing its libraries alone, both in one run.

Run with ``python -m tests.bench.command``. Which libraries the command uses is not guessed: they
are the third-party packages and the standard library's modules that it has loaded at its end.
Beside them stand those with which everything is built anew (``ALL``), in one process too.
Our own modules are compiled beforehand, as those of the libraries are and as installing does.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time

ARGUMENTS = [
    "rank", "mounted-12", "bleed=PPPPPPPPPPPP", "response=PPPFPPPPPPPP", "oil=54C", "engine=on",
]  # fmt: skip
RUNS = 10
ALL = "import numpy, networkx, pydantic, click, rich, yaml, durable"

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


def seconds(command: list[str]) -> tuple[float, float]:
    """How long a process takes: by the clock, and of a processor."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=ENVIRONMENT)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


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
    commands = {
        "whole command": [sys.executable, "-m", "diagnose", *ARGUMENTS],
        "its libraries alone": [sys.executable, "-c", imports],
        "all libraries": [sys.executable, "-c", ALL],
    }
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    for _ in range(RUNS + 1):
        for name, command in commands.items():
            taken[name].append(seconds(command))
    packages = sorted({name.split(".")[0] for name in names} - set(sys.stdlib_module_names))
    print(f"libraries: {', '.join(packages)} ({len(names)} modules)")
    whole = best(taken["whole command"])
    for name, times in taken.items():
        wall, cpu = best(times)
        print(f"{name:20} best {wall * 1e3:4.0f} ms, processor {cpu * 1e3:4.0f} ms; "
              f"command x{whole[0] / wall:.2f}, x{whole[1] / cpu:.2f}")  # fmt: skip


def best(times: list[tuple[float, float]]) -> tuple[float, float]:
    """The shortest of each, without the first run, which may have built something anew."""
    walls, processors = zip(*times[1:], strict=True)
    return min(walls), min(processors)


if __name__ == "__main__":
    main()
