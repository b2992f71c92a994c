"""Inputs for `fuzz`, by the grammar of what people give the program, with something wrong in some.

Every input is worked out from its number alone, so that a failing one is had again by that.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from random import Random
from typing import Any

import yaml

from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine, load_machine
from diagnose.observations.archive import story_text
from diagnose.observations.entries import Noted, Opened, new_event
from diagnose.observations.state import replay
from diagnose.observations.typed import parse_statements
from diagnose.observations.values import typeable
from diagnose.paths import shipped
from diagnose.session.prompt_commands import SAYINGS
from diagnose.ui.cli.root import rowfault
from tests.ui.hostile import EVERYTHING, HALF, MARKS, commands

HERE = "{here}"
"""Stands for the folder in which an input's files are."""
SOUND = 0.53
"""So many inputs have nothing wrong in them on purpose."""
MACHINES = {"mounted-6": 92, "mounted-12": 6, "folding-16": 1, "folding-24": 0.5, "folding-48": 0.5}
ODD_NUMBERS = ("-1", "0", "1e90", "1e400", "nan", "-0", "9" * 30, "٣", "1_000", "0x10", "1.5.2", "")
ODD_WORDS = (*MARKS.values(), HALF, EVERYTHING, "", " ", "=", "@", ":", "🚜", "x" * 5000, "\ufeff")
ODD_LETTERS = "=@:,.-+ \n\t\0\x1b\u202e#&*{}[]'\"é"
ODD_VALUES: Sequence[object] = (
    None, True, -1, 0, 1.5, 1e90, 10**30, "", "x", EVERYTHING, [], {}, [[]], {"x": 1}, "é" * 5000,
)  # fmt: skip


@dataclass(frozen=True)
class Given:
    """One input: the words of the command, what is typed after, and the files there are."""

    number: int
    family: str
    words: Sequence[str]
    typed: str = ""
    files: Mapping[str, bytes] = field(default_factory=dict)


def given(number: int) -> Given:
    """The input of a number.

    >>> given(7) == given(7)
    True
    """
    rng = Random(f"rowfault {number}")
    family = rng.choices(list(FAMILIES), [weight for weight, _ in FAMILIES.values()])[0]
    words, typed, files = FAMILIES[family][1](rng)
    return Given(number, family, words, typed, files)


Made = tuple[list[str], str, dict[str, bytes]]


# ---- words


@cache
def known() -> Knowledge:
    """What ships."""
    return load_knowledge(learned=False)


@cache
def built(name: str) -> Machine:
    """A machine that ships."""
    return load_machine(name, known())


@cache
def readings(name: str) -> tuple[tuple[str, str, str, tuple[float, ...]], ...]:
    """Every reading of a machine: its name, where, in what, and the numbers it turns on."""
    return tuple(
        (each.id, part, each.unit, tuple(n for n in (each.nominal, each.least) if n is not None))
        for part, kind in built(name).parts.items()
        for each in kind.measurements
    )


@cache
def works(name: str) -> tuple[str, ...]:
    """Everything that can be done to a machine, as it is typed."""
    machine = built(name)
    done = [f"{r.id}@{part}=done" for part, kind in machine.parts.items() for r in kind.remedies]
    swaps = [
        f"{s.id}@row-{row}=row-{row + 1}"
        for part, kind in machine.parts.items()
        if part.startswith("row-") and (row := int(part[4:].partition("/")[0])) < machine.rows
        for s in kind.swaps
    ]
    return (*done, *swaps)


def reading(rng: Random, name: str) -> str:
    """A reading as it is typed, most of them of a plausible size."""
    measurement, part, unit, numbers = rng.choice(readings(name))
    if unit == "choice":
        return f"{measurement}@{part}={rng.choice(('yes', 'no'))}"
    if unit == "code":
        return f"{measurement}@{part}={rng.choice(('none', '2', '5', '6', '7', '12'))}"
    size = rng.choice(numbers or (5.0,)) * rng.choice((0.0, 0.5, 0.9, 1.0, 1.1, 2.0))
    return f"{measurement}@{part}={size:.2f}{unit}"


def circumstance(rng: Random) -> str:
    """A circumstance as it is typed."""
    each = rng.choice([*typeable(known()).values()])
    if each.choices:
        return f"{each.id}={rng.choice(each.choices)}"
    values = {"temperature": ("10C", "54C", "118F")}.get(each.value, ("62bar", "900psi"))
    return f"{each.id}={rng.choice(values)}"


def pattern(rng: Random, rows: int) -> str:
    """Results of a run: few rows fail, or neighbors, or all."""
    fails = rng.choices((0, 1, 2, 3, rows), (3, 8, 4, 2, 1))[0]
    first = rng.randrange(rows)
    failed = {(first + k) % rows for k in range(fails)}
    if rng.random() < 0.5:
        failed = set(rng.sample(range(rows), min(fails, rows)))
    letters = ["F" if row in failed else "P" for row in range(rows)]
    if rng.random() < 0.2:
        letters = [rng.choice("?.P") if rng.random() < 0.3 else each for each in letters]
    if set(letters) == {"."}:
        letters[0] = "P"
    if rng.random() < 0.2 and failed:
        return f"fail:{','.join(str(row + 1) for row in sorted(failed))},pass:rest"
    return "".join(letters)


def story(rng: Random, name: str) -> list[str]:
    """What happened on a machine, as it is typed; nothing is wrong in it."""
    rows = built(name).rows
    words = [circumstance(rng) for _ in range(rng.choice((0, 0, 1, 2)))]
    words = list({word.partition("=")[0]: word for word in words}.values())
    for _ in range(rng.choices((1, 2, 3, 6), (20, 8, 3, 1))[0]):
        words.append(f"{rng.choice(('bleed', 'response'))}={pattern(rng, rows)}")
        if rng.random() < 0.3:
            words.append(rng.choice(("oil=54C", "engine=on", "moving=no", "supply=180bar")))
        if rng.random() < 0.25:
            words.append(reading(rng, name))
        if rng.random() < 0.15:
            words.append(rng.choice(works(name)))
    return words


def machine(rng: Random) -> str:
    """A machine, most of them small."""
    return rng.choices(list(MACHINES), list(MACHINES.values()))[0]


def spoiled(rng: Random, words: list[str]) -> list[str]:
    """The words with something wrong in one or two."""
    words = list(words)
    for _ in range(rng.choice((1, 1, 2))):
        place = rng.randrange(len(words)) if words else 0
        word = words[place] if words else ""
        key, equals, value = word.partition("=")
        spoil: Sequence[Callable[[], list[str]]] = (
            lambda key=key, equals=equals: [key + equals + rng.choice(ODD_NUMBERS)],
            lambda key=key: [f"{key}={rng.choice(ODD_WORDS)}"],
            lambda word=word: [cut_up(rng, word)],
            lambda word=word: [word, word],
            lambda word=word: [word.swapcase()],
            lambda value=value: [f"{rng.choice(ODD_WORDS)}={value}"],
            lambda key=key, value=value: [f"{key}@row-{rng.choice(ODD_NUMBERS)}={value}"],
            lambda key=key: [f"{key}=fail:{rng.choice(ROWS)},pass:rest"],
            lambda: [rng.choice(ODD_WORDS)],
            lambda: [],
        )
        words[place : place + 1] = rng.choice(spoil)()
    return words


ROWS = ("1-6", "0", "7", "6-1", "1-1000", ",".join(["1-1000"] * 50), "1,1,1", "all", "-", "1-", "½")


def cut_up(rng: Random, text: str) -> str:
    """The text with a few letters gone, doubled, changed or out of their place."""
    letters = list(text)
    for _ in range(rng.choice((1, 1, 3))):
        if not letters:
            break
        at = rng.randrange(len(letters))
        letters[at] = rng.choice(("", letters[at] * 2, rng.choice(ODD_LETTERS)))
    return "".join(letters)


def mostly_sound(rng: Random) -> bool:
    return rng.random() < SOUND


# ---- commands on words


def shown(rng: Random, command: str = "rank") -> list[str]:
    """Options that cost little; the dear ones rarely."""
    if command == "plan":
        return ["--depth", "1", *rng.choice(([], ["--json"], ["--dot"], ["--alone"]))]
    costly = rng.random() < 0.02
    return [*rng.choice(([], *[["--json"]] * 4)), *([] if costly else ["--next", "0"])]


def of_rank(rng: Random) -> Made:
    name = machine(rng)
    words = story(rng, name)
    command = "plan" if rng.random() < 0.01 else "rank"
    line = [name, *words]
    if not mostly_sound(rng):
        line = spoiled(rng, line)
        if rng.random() < 0.1:
            line = ["--", *line]
    return [command, *shown(rng, command), *line], "", {}


def of_file(rng: Random) -> Made:
    name = machine(rng)
    rows = built(name).rows
    runs = [
        {"check": rng.choice(("bleed", "response")), "pattern": pattern_letters(rng, rows)}
        | rng.choice(({}, {"circumstances": {"oil": "54 C", "engine": "on"}}))
        for _ in range(rng.choice((1, 1, 2, 3)))
    ]
    case: Any = {"machine": name, "runs": runs}
    if rng.random() < 0.3:
        case["circumstances"] = {"oil": "54 C"}
    return with_file(rng, case, ["rank", *shown(rng), "--file", f"{HERE}/case.yaml"], "case.yaml")


def pattern_letters(rng: Random, rows: int) -> str:
    """A pattern in letters, as files have it."""
    while ":" in (letters := pattern(rng, rows)):
        pass
    return letters


def with_file(rng: Random, data: Any, words: list[str], name: str) -> Made:
    """A command on a file, whose data or text may be spoiled."""
    if not mostly_sound(rng):
        if rng.random() < 0.7:
            data = bent(rng, data)
        text = written(rng, data)
        raw = text.encode("utf-8", "surrogatepass")
        if rng.random() < 0.4:
            raw = torn(rng, raw)
        if rng.random() < 0.2:
            words = spoiled(rng, words)
        return words, "", {name: raw}
    return words, "", {name: written(rng, data).encode("utf-8", "surrogatepass")}


def written(rng: Random, data: Any) -> str:
    """Data as YAML, or as JSON now and then."""
    with suppress(UnicodeEncodeError):  # half a character, which JSON can escape
        if rng.random() < 0.8:
            return yaml.dump(data, Dumper=yaml.CSafeDumper, sort_keys=False)
    return json.dumps(data)


def bent(rng: Random, data: Any) -> Any:
    """The data with one or two of its values, names or parts wrong."""
    data = copy.deepcopy(data)
    for _ in range(rng.choice((1, 1, 2))):
        places = list(inside(data))
        if not places:
            return rng.choice(ODD_VALUES)
        holder, key = rng.choice(places)
        change = rng.randrange(5)
        if change == 0:
            del holder[key]
        elif change == 1 and isinstance(holder, dict):
            holder[rng.choice(("x", "id", "machine", EVERYTHING, "rows"))] = holder.pop(key)
        elif change == 2 and isinstance(holder, list):
            holder += [holder[key]] * rng.choice((1, 30))
        elif isinstance(holder[key], str) and change == 3:
            holder[key] = cut_up(rng, holder[key])
        else:
            holder[key] = rng.choice((*ODD_VALUES, *ODD_NUMBERS, *ODD_WORDS))
    return data


def inside(data: Any) -> list[tuple[Any, Any]]:
    """Every place of a value within data: what holds it, and by which name."""
    found: list[tuple[Any, Any]] = []
    left = [data]
    while left:
        holder = left.pop()
        keys = holder if isinstance(holder, dict) else range(len(holder))
        for key in keys:
            found.append((holder, key))
            if isinstance(holder[key], dict | list):
                left.append(holder[key])
    return found


def torn(rng: Random, raw: bytes) -> bytes:
    """Bytes with some lost, changed or repeated."""
    if not raw:
        return b"\xff"
    at = rng.randrange(len(raw))
    return rng.choice(
        (
            raw[:at],
            raw[:at] + bytes([rng.randrange(256)]) + raw[at + 1 :],
            raw[:at] + raw[at:] * 3,
            b"\xef\xbb\xbf" + raw,
            raw.replace(b"\n", b"\r\n"),
            raw[:at] + b"[" * rng.choice((5, 5000)) + raw[at:],
            raw[:at] + b"\xff\x00\x85" + raw[at:],
        )
    )


def of_log(rng: Random) -> Made:
    name = machine(rng)
    rows = built(name).rows
    lines = ["run,check,row,result"]
    for run in range(1, rng.choice((1, 1, 2, 3)) + 1):
        check = rng.choice(("bleed", "response"))
        letters = pattern_letters(rng, rows)
        lines += [f"{run},{check},{row},{letter}" for row, letter in enumerate(letters, 1)]
    text = "\n".join(lines)
    raw = text.encode()
    if not mostly_sound(rng):
        number = rng.choice(ODD_NUMBERS)
        text = cut_up(rng, text) if rng.random() < 0.7 else text.replace("1", number)
        raw = torn(rng, text.encode()) if rng.random() < 0.5 else text.encode()
    return ["rank", name, *shown(rng), "--log", f"{HERE}/log.csv"], "", {"log.csv": raw}


# ---- archives, layouts, rules


@cache
def archives() -> tuple[Any, ...]:
    """A few stories as data."""
    made = []
    for seed in range(12):
        rng = Random(seed)
        name = "mounted-6" if seed % 3 else "mounted-12"
        events = [
            new_event(Opened(case=f"20260301-fuzz-{seed}", machine=name, title="rubs"), "Ann")
        ]
        for word in story(rng, name):
            whats = parse_statements([word], replay(events).circumstances, built(name), known())
            events += [new_event(what, "Ann") for what in whats]
        events.append(new_event(Noted("hose chafed"), "Ben"))
        made.append(yaml.safe_load(story_text(events)))
    return tuple(made)


def of_archive(rng: Random) -> Made:
    here = f"{HERE}/case.yaml"
    words = rng.choices(
        (
            ["rank", *shown(rng), "--file", here],
            ["cases", "import", here],
            ["report", here, "-o", "-", "--format", rng.choice(("md", "json", "html"))],
        ),
        (20, 4, 1),
    )[0]
    return with_file(rng, rng.choice(archives()), words, "case.yaml")


@cache
def layouts() -> tuple[Any, ...]:
    """The small layouts as data."""
    names = ("mounted-6", "mounted-6", "mounted-12", "folding-16")
    texts = (known().layouts[name].read_text(encoding="utf-8") for name in names)
    return tuple(yaml.safe_load(text) for text in texts)


def of_layout(rng: Random) -> Made:
    layout = rng.choice(layouts())
    here = f"{HERE}/mine.yaml"
    letters = pattern_letters(rng, layout["rows"])
    words = rng.choices(
        (
            ["rank", here, *shown(rng), f"response={letters}"],
            ["machine", "check", here],
            ["machine", "show", here, *rng.choice(([], ["--json"], ["--row", "2"]))],
            ["ready", here, "oil=15C"],
        ),
        (8, 3, 2, 1),
    )[0]
    return with_file(rng, layout | {"id": "mine"}, words, "mine.yaml")


@cache
def rules() -> tuple[Any, ...]:
    """The rules that ship, as data."""
    paths = sorted(shipped().rules.rglob("*.yaml"))
    return tuple(yaml.safe_load(path.read_text(encoding="utf-8")) for path in paths)


def of_rule(rng: Random) -> Made:
    rule = rng.choice(rules())
    group = rule.get("group", "patterns")
    words, typed, files = with_file(
        rng, rule | {"id": "mine"}, ["rules", "check", f"{HERE}/rules"], f"rules/{group}/mine.yaml"
    )
    return words, typed, files


# ---- conversations


def of_work(rng: Random) -> Made:
    name = rng.choice(("mounted-6", "mounted-6", "mounted-6", "mounted-12"))
    lines = [" ".join(story(rng, name))] if rng.random() < 0.8 else []
    lines += [answer(rng, name) for _ in range(rng.choice((0, 1, 2, 4)))]
    if not mostly_sound(rng):
        lines = spoiled(rng, lines)
    kept = [] if rng.random() < 0.1 else ["--scratch"]
    if rng.random() < 0.3:
        text = "\n".join(lines).encode("utf-8", "surrogatepass")
        return ["work", name, *kept, "--answers", f"{HERE}/answers"], "", {"answers": text}
    return ["work", name, *kept], "\n".join(lines), {}


def answer(rng: Random, name: str) -> str:
    """Something that may be said at a prompt."""
    plain = [
        "pass",
        "fail 6",
        "6 pass",
        "yes",
        "no",
        "done",
        "none",
        "all",
        "",
        "7.4ohm",
        "54C",
        "?",
    ]
    said = (*SAYINGS, "redo", "correct 2", "correct 1 oil=10C", "missing gauge", "note x")
    return rng.choice(
        (
            rng.choice(plain),
            rng.choice(said),
            f"else {rng.choice(story(rng, name))}",
            f"note {rng.choice(ODD_WORDS)}",
            f"correct {rng.choice(ODD_NUMBERS)} {rng.choice(story(rng, name))}",
            rng.choice(story(rng, name)),
        )
    )


def of_drill(rng: Random) -> Made:
    name = rng.choice(("mounted-6", "mounted-6", "mounted-12"))
    if rng.random() < 0.05:
        return ["drill", "--code", cut_up(rng, "7G4K-" * 6)], "", {}
    rows = built(name).rows
    lines = [move(rng, name, rows) for _ in range(rng.choice((1, 2, 2, 4)))]
    if rng.random() < 0.3:
        lines.append(rng.choice(("give up", f"declare {rng.randrange(1, rows)} coil_open")))
    if not mostly_sound(rng):
        lines = spoiled(rng, lines)
    level, seed = str(rng.randrange(1, 5)), str(rng.randrange(10_000))
    return ["drill", name, "--level", level, "--seed", seed], "\n".join(lines), {}


def move(rng: Random, name: str, rows: int) -> str:
    """A move of a drill, or a word that shows something."""
    act = rng.choice(works(name)).partition("=")[0]
    measurement, part, _, _ = rng.choice(readings(name))
    first = rng.randrange(1, rows + 1)
    return rng.choice(
        (
            f"{rng.choice(('bleed', 'response'))} {rng.choice(('all', first, f'{first}-{rows}'))}",
            f"{measurement} {first}",
            f"{measurement}@{part}",
            f"{act.partition('@')[0]} {first}",
            act,
            f"swap-coil {first} {first + 1}",
            f"ask {rng.choice([*typeable(known())])}",
            rng.choice(("acts", "acts 6", "acts shared", "rows", "told", "hint", "?", "?valve")),
            rng.choice(ODD_WORDS),
        )
    )


# ---- everything else


def of_command(rng: Random) -> Made:
    """Any command but the one that writes a folder, with options of its own and of others."""
    every = [(words, each) for words, each in commands(rowfault) if words not in DEAR]
    words, command = rng.choice(every)
    line = []
    for param in command.params:
        if rng.random() < 0.5:
            continue
        value = rng.choice(VALUES)
        if param.param_type_name == "argument":
            line.append(value)
        else:
            flag = getattr(param, "is_flag", False)
            line += [rng.choice(param.opts)] if flag else [rng.choice(param.opts), value]
    if words == ("drill",):
        line = [word for word in line if word not in ("--count", "--play")]
    if rng.random() < 0.2:
        line = spoiled(rng, line)
    return [*words, *line], rng.choice(("", "yes\n", "\0\n")), {}


DEAR = (("manual",), ("cases", "coverage"), ("rules", "check"), ("cases", "export"))
"""What takes long, or writes where it is told to."""
VALUES = (
    "mounted-6", "last", "valve", "6", "-", "x", "20260301", "postgresql://me:p@ss@host:1/x",
    f"{HERE}/none.yaml", HERE, "/dev/null", "oil=54C", "response=PPPPPF", "html", "2026-03-01",
    "0001-01-01", *ODD_NUMBERS, *ODD_WORDS,
)  # fmt: skip

FAMILIES: Mapping[str, tuple[float, Callable[[Random], Made]]] = {
    "typed": (46, of_rank),
    "case file": (16, of_file),
    "log": (8, of_log),
    "archive": (9, of_archive),
    "layout": (10, of_layout),
    "rule": (0.2, of_rule),
    "work": (2.5, of_work),
    "drill": (2.5, of_drill),
    "command": (6, of_command),
}
"""By its name, how often a sort of input comes, and how it is made."""
