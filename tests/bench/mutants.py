"""How many small changes to the program its own tests notice.

    python -m tests.bench.mutants inference diagnosis decision planner --count 400 --seed 14
    python -m tests.bench.mutants planner --count 40 --seed 1

A mutant is one expression changed: an operator, a comparison, a number, a condition, a result. Of
all that could be made of the packages named, so many are drawn at random. Each is tried with the
fast tests of its own package (``tests/PACKAGE`` and the examples in ``diagnose/PACKAGE``), those
of its own module first, until one fails. Survivors are listed, to be read.

It is written here since neither mutmut nor cosmic-ray can be bounded so: mutmut changes nothing
outside functions, where the numbers of judgement stand; cosmic-ray writes each mutant to disk and
starts an interpreter for it; neither draws a sample by a seed. Here a child process imports the
mutant in place of its module, from a parent that has read libraries and knowledge once.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import random
import resource
import signal
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import import_module
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, SourceFileLoader
from importlib.util import spec_from_file_location
from math import sqrt
from pathlib import Path
from types import CodeType

import pytest

ROOT = Path(__file__).parents[2]

SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    **{ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult},
    **{ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult},
    **{ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd},
    **{ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt},
    **{ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is},
    **{ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And},
}
"""What an operator is changed into."""

TWINS = {"min": "max", "max": "min", "any": "all", "all": "any"}
"""What a function is changed into."""

UNTOUCHED = ("annotation", "returns", "decorator_list")
"""Parts of a definition that change nothing when it runs, or make it another thing altogether."""

TIMES, MORE = 4, 10
"""A mutant may take so many times the processor seconds of its package's tests, and these more."""

MEMORY = 4 << 30
"""Bytes that a mutant may ask for."""

LIBRARIES = ("durable.lang", "hypothesis", "networkx", "numpy.typing", "pydantic", "pyagrum")
"""What tests and packages import, read once for all mutants."""

CONFIDENCE = 1.96
"""The interval holds the share of all mutants 19 times in 20."""


@dataclass(frozen=True)
class Mutant:
    """One change: the place of a node in its module, in the order of walking, and which change."""

    path: Path
    place: int
    change: int
    line: int
    before: str
    after: str

    @property
    def module(self) -> str:
        """The name under which it is imported."""
        return ".".join(self.path.relative_to(ROOT).with_suffix("").parts)

    @property
    def package(self) -> str:
        """The package whose tests are to notice."""
        return self.path.relative_to(ROOT / "diagnose").parts[0]

    def __str__(self) -> str:
        where = f"{self.path.relative_to(ROOT)}:{self.line}"
        return f"{where}: {self.before}  ->  {self.after}"


def changes(node: ast.AST) -> list[ast.AST]:
    """What a node could be instead.

    >>> def texts(source):
    ...     return [ast.unparse(made) for made in changes(ast.parse(source).body[0].value)]
    >>> texts("a * b"), texts("a < b"), texts("not a"), texts("0.5")
    (['a / b', 'b'], ['a <= b'], ['a'], ['0.75'])
    >>> texts("max(a)"), texts("a or b"), texts("x if a else y"), texts("'text'")
    (['min(a)'], ['a and b'], ['y if a else x'], [])
    """
    return [*_operators(node), *_values(node), *_flow(node)]


def _operators(node: ast.AST) -> list[ast.AST]:
    """Another operator; of a product also one factor alone."""
    match node:
        case ast.BinOp(left, op, right) if not (_text(left) or _text(right)):
            alone = [right] if isinstance(op, ast.Mult) else []
            return [*(_with(node, op=each()) for each in _other(op)), *alone]
        case ast.AugAssign(op=op) | ast.BoolOp(op=op):
            return [_with(node, op=each()) for each in _other(op)]
        case ast.Compare(ops=[op]):
            return [_with(node, ops=[each()]) for each in _other(op)]
        case ast.UnaryOp(op=ast.Not() | ast.USub(), operand=operand):
            return [operand]
    return []


def _values(node: ast.AST) -> list[ast.AST]:
    """Another truth, a number more, half as much again."""
    match node:
        case ast.Constant(value=bool(value)):
            return [_with(node, value=not value)]
        case ast.Constant(value=int(value)):
            return [_with(node, value=value + 1)]
        case ast.Constant(value=float(value)):
            return [_with(node, value=value * 1.5 if value else 1.0)]
    return []


def _flow(node: ast.AST) -> list[ast.AST]:
    """The other way round, and nothing for a result."""
    match node:
        case ast.Call(func=ast.Name(id=name)) if name in TWINS:
            return [_with(node, func=ast.Name(TWINS[name], ast.Load()))]
        case ast.IfExp(body=body, orelse=orelse):
            return [_with(node, body=orelse, orelse=body)]
        case ast.If(test=test) | ast.While(test=test):
            return [_with(node, test=ast.UnaryOp(ast.Not(), test))]
        case ast.Return(value=ast.expr() as value) if not _nothing(value):
            return [_with(node, value=ast.Constant(None))]
    return []


def _other(op: ast.AST) -> list[type[ast.AST]]:
    return [SWAPPED[type(op)]] if type(op) in SWAPPED else []


def _with(node: ast.AST, **fields: object) -> ast.AST:
    made = copy.copy(node)
    for name, value in fields.items():
        setattr(made, name, value)
    return made


def _text(node: ast.AST) -> bool:
    return isinstance(node, ast.JoinedStr) or (
        isinstance(node, ast.Constant) and isinstance(node.value, str)
    )


def _nothing(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


class _Walk(ast.NodeTransformer):
    """Walks what runs, counting nodes; at one place it puts something else."""

    def __init__(self, place: int = -1, change: int = 0) -> None:
        self.place, self.change, self.at = place, change, -1
        self.found: list[tuple[int, ast.AST]] = []

    def visit(self, node: ast.AST) -> ast.AST:
        if isinstance(node, ast.Assert) or _guard(node) or _typing(node):
            return node
        self.at += 1
        self.found.append((self.at, node))
        if self.at == self.place:
            return ast.copy_location(changes(node)[self.change], node)
        kept = {name: getattr(node, name) for name in UNTOUCHED if hasattr(node, name)}
        for name in kept:
            setattr(node, name, [] if name == "decorator_list" else None)
        self.generic_visit(node)
        for name, value in kept.items():
            setattr(node, name, value)
        return node


def _guard(node: ast.AST) -> bool:
    """Whether an argument only insists on what holds anyway, as an assertion does."""
    return isinstance(node, ast.keyword) and node.arg == "strict"


def _typing(node: ast.AST) -> bool:
    """Whether a statement is there for the types alone."""
    return isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"


def mutants_of(path: Path) -> Iterator[Mutant]:
    """Every mutant of a module."""
    walk = _Walk()
    walk.visit(ast.parse(path.read_text(encoding="utf-8")))
    for place, node in walk.found:
        for number, made in enumerate(changes(node)):
            line = getattr(node, "lineno", 0)
            yield Mutant(path, place, number, line, _shortly(node), _shortly(made))


def _shortly(node: ast.AST) -> str:
    return ast.unparse(node).partition("\n")[0][:90]


def code_of(mutant: Mutant) -> CodeType:
    """The module with the change made."""
    tree = ast.parse(mutant.path.read_text(encoding="utf-8"))
    _Walk(mutant.place, mutant.change).visit(tree)
    return compile(ast.fix_missing_locations(tree), str(mutant.path), "exec")


class _Loader(SourceFileLoader):
    """Loads one module from code that stands in no file."""

    code: CodeType

    def get_code(self, fullname: str) -> CodeType:
        return self.code


class _Finder(MetaPathFinder):
    """Finds the mutant in place of its module."""

    def __init__(self, mutant: Mutant) -> None:
        self.mutant, self.code = mutant, code_of(mutant)

    def find_spec(self, name: str, path: object = None, target: object = None) -> ModuleSpec | None:
        if name != self.mutant.module:
            return None
        loader = _Loader(name, str(self.mutant.path))
        loader.code = self.code
        return spec_from_file_location(name, self.mutant.path, loader=loader)


class _OwnFirst:
    """Puts the tests of one module before the others of its package."""

    def __init__(self, mutant: Mutant) -> None:
        self.files = {mutant.path.name, f"test_{mutant.path.name}"}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: item.path.name not in self.files)


def tried(package: str, mutant: Mutant | None) -> int:
    """The status of the package's fast tests, in a process of its own that ends with them."""
    plugins: list[object] = []
    if mutant is not None:
        sys.meta_path.insert(0, _Finder(mutant))
        plugins.append(_OwnFirst(mutant))
    where = [str(folder) for folder in folders(package) if folder.exists()]
    options = ["-x", "-q", "-n0", "-m", "not slow", "--hypothesis-seed=0"]
    without = [
        word for plugin in ("cacheprovider", "faulthandler") for word in ("-p", f"no:{plugin}")
    ]
    quiet = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]  # hypothesis is there already
    return int(pytest.main([*options, *without, *quiet, *where], plugins))


def folders(package: str) -> tuple[Path, Path]:
    """Where the tests and the examples of a package stand."""
    return ROOT / "tests" / package, ROOT / "diagnose" / package


def started(package: str, mutant: Mutant | None, seconds: int) -> int:
    """A child process that tries a mutant, or the package as it is, within so many seconds."""
    child = os.fork()
    if child:
        return child
    quiet = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(quiet, stream)
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    signal.alarm(20 * seconds)  # who sleeps for ever uses no processor
    os.environ["ROWFAULT_NO_CACHE"] = "1"  # a mutant leaves nothing behind
    status = 1
    try:
        status = tried(package, mutant)
    finally:
        os._exit(status)


def ended(status: int) -> int:
    """The exit status that a child's end stands for: whatever killed it counts as a failure."""
    return os.waitstatus_to_exitcode(status) if os.WIFEXITED(status) else 1


def seconds_of(package: str) -> float:
    """Processor seconds of the package's fast tests. Raises `SystemExit` when they fail."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    _, status = os.waitpid(started(package, None, 600), 0)
    if ended(status) != 0:
        raise SystemExit(f"{package}: expected that its own tests pass, got status {status}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def survivors(drawn: Sequence[Mutant], limits: dict[str, int], jobs: int) -> Iterator[Mutant]:
    """The mutants that no test notices, as they are found."""
    waiting, running = list(reversed(drawn)), dict[int, Mutant]()
    while waiting or running:
        while waiting and len(running) < jobs:
            mutant = waiting.pop()
            running[started(mutant.package, mutant, limits[mutant.package])] = mutant
        child, status = os.wait()
        mutant = running.pop(child)
        if ended(status) == 0:
            yield mutant


def interval(killed: int, of: int) -> tuple[float, float]:
    """Wilson's interval for a share.

    >>> low, high = interval(85, 100)
    >>> round(low, 3), round(high, 3)
    (0.767, 0.907)
    """
    share, z = killed / of, CONFIDENCE**2 / of
    middle, half = share + z / 2, sqrt(z * (share * (1 - share) + z / 4))
    return (middle - half) / (1 + z), (middle + half) / (1 + z)


def warmed() -> None:
    """Read what every child wants, and what no mutant can change."""
    from diagnose.knowledge.base import load_knowledge
    from diagnose.rules.loading import load_rules

    for library in LIBRARIES:
        import_module(library)
    load_knowledge()
    load_rules()


def drawn_from(packages: Sequence[str], count: int, seed: int) -> list[Mutant]:
    """So many mutants of the packages, each as likely as any other."""
    paths = [path for each in packages for path in sorted((ROOT / "diagnose" / each).rglob("*.py"))]
    every = [mutant for path in paths for mutant in mutants_of(path)]
    return random.Random(seed).sample(every, min(count, len(every)))


def main() -> None:
    """Draw, try, tell."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.mutants")
    parser.add_argument("packages", nargs="+", metavar="PACKAGE")
    parser.add_argument("--count", type=int, default=400)
    parser.add_argument("--seed", type=int, default=14)
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    told = parser.parse_args()
    began = time.monotonic()
    drawn = drawn_from(told.packages, told.count, told.seed)
    warmed()
    loaded = [each for each in told.packages if f"diagnose.{each}" in sys.modules]
    if loaded:
        raise SystemExit(f"expected that no mutant was imported yet, got {', '.join(loaded)}")
    limits = {each: int(TIMES * seconds_of(each) + MORE) for each in told.packages}
    print(f"{len(drawn)} mutants, seed {told.seed}; at most (s): {limits}", flush=True)
    left: Counter[str] = Counter()
    for mutant in survivors(drawn, limits, told.jobs):
        left[mutant.package] += 1
        print(f"survived  {mutant}", flush=True)
    of = Counter(mutant.package for mutant in drawn)
    for package in [*told.packages, "all"]:
        many = sum(of.values()) if package == "all" else of[package]
        killed = many - (sum(left.values()) if package == "all" else left[package])
        if many:
            low, high = interval(killed, many)
            share = f"{killed / many:.1%} ({low:.1%} to {high:.1%})"
            print(f"{package:10} killed {killed} of {many}, {share}")
    print(f"{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
