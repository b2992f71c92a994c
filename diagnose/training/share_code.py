"""A drill as one line of text, to be sent to somebody.

The line holds the version of the form, level, machine, seed, a fingerprint of the knowledge that
the drill was drawn from, and a checksum. It holds no fault: that is drawn from the seed by a keyed
hash. The rest is masked, so nothing can be read off the line.
"""

from __future__ import annotations

import re

from diagnose.errors import InputError, Place, Problem, quoted
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import load_machine
from diagnose.record import record
from diagnose.training.keyed_rng import digest
from diagnose.training.level import load_drills

_VERSION = 1

CODE_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Digits and letters that are not mistaken for one another: without I, L, O and U."""

MISREAD = str.maketrans("OIL", "011")
"""What somebody may write for what was meant."""

CHECKSUM, MACHINE, SEED, FINGERPRINT = 4, 2, 5, 2
"""Bytes of each field; version and level have one each."""

SIZE = CHECKSUM + 1 + 1 + MACHINE + SEED + FINGERPRINT
LENGTH, GROUP = SIZE * 8 // 5, 4
MOST_SEEDS = 2 ** (8 * SEED)

WHERE = Place("code")


@record
class DrillName:
    """What a code says: which drill."""

    machine: str
    level: int
    seed: int


def fingerprint(machine: str, knowledge: Knowledge) -> bytes:
    """What the drawing of a drill depends on, in a few bytes: they differ when that differs.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known = load_knowledge(learned=False)
    >>> fingerprint("mounted-6", known) == fingerprint("mounted-12", known)
    False
    """
    built = load_machine(machine, knowledge)
    kinds = {kind.id: kind for kind in built.parts.values()}
    known = [*knowledge.checks.values(), *knowledge.circumstances.values()]
    known += [*knowledge.setups.values(), knowledge.rates]
    texts = [each.model_dump_json() for each in (*kinds.values(), *known)]
    texts.append(load_drills().drawn_from())
    graph = [f"{part} {kind.id} {built.rows_of(part)}" for part, kind in built.parts.items()]
    edges = [f"{a} {b}" for b, needed in built.needs.items() for a in needed]
    return digest(FINGERPRINT, *sorted(texts), *graph, *sorted(edges))


def encode_drill(named: DrillName, knowledge: Knowledge) -> str:
    """The code of a drill.

    Raises `InputError` for a seed that is too large, `UnknownName` for an unknown machine.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> known = load_knowledge(learned=False)
    >>> code = encode_drill(DrillName("mounted-6", 1, 7), known)
    >>> len(code), read(code.lower(), known)
    (29, DrillName(machine='mounted-6', level=1, seed=7))
    """
    if not 0 <= named.seed < MOST_SEEDS:
        expected = f"a seed from 0 to {MOST_SEEDS - 1:,}"
        raise InputError(Problem(Place("seed"), expected, str(named.seed)))
    body = bytes([_VERSION, named.level]) + digest(MACHINE, "machine", named.machine)
    body += named.seed.to_bytes(SEED, "big") + fingerprint(named.machine, knowledge)
    checksum = digest(CHECKSUM, "checksum", body)
    number = int.from_bytes(checksum + _masked(body, checksum), "big")
    letters = "".join(CODE_LETTERS[number >> 5 * place & 31] for place in reversed(range(LENGTH)))
    return "-".join(letters[at : at + GROUP] for at in range(0, LENGTH, GROUP))


def read(code: str, knowledge: Knowledge) -> DrillName:
    """Which drill a code names.

    Raises `InputError`, saying which, when the code is broken, from another version, for a
    machine that is not known here, or drawn from knowledge that has changed since.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> read("7G4K", load_knowledge(learned=False))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    diagnose.errors.InputError: code: expected 24 letters and digits of a code, got 4; ...
    """
    body = _body(code)
    if body[0] != _VERSION:
        expected = f"a code of version {_VERSION}"
        raise _problem(expected, f"one of version {body[0]}", "use the rowfault that made it")
    name, rest = body[2 : 2 + MACHINE], body[2 + MACHINE :]
    known = {digest(MACHINE, "machine", each): each for each in knowledge.layouts}
    if name not in known:
        expected = "a drill on a machine that is known here"
        raise _problem(expected, "another machine's", "ask for its layout file")
    named = DrillName(known[name], body[1], int.from_bytes(rest[:SEED], "big"))
    if rest[SEED:] != fingerprint(named.machine, knowledge):
        expected = "a drill drawn from what is known here"
        got = "a stale code: parts, checks or layout have changed since"
        raise _problem(expected, got, "ask for a new code, or draw a new drill")
    return named


def _body(code: str) -> bytes:
    """What the letters hold, if the checksum agrees."""
    letters = re.sub(r"[\s-]", "", code).upper().translate(MISREAD)
    strange = sorted({each for each in letters if each not in CODE_LETTERS})
    if strange or len(letters) != LENGTH:
        what = f"{quoted(strange[0])} in it" if strange else f"{len(letters)}"
        raise _problem(f"{LENGTH} letters and digits of a code", what, "copy the whole line")
    number = 0
    for each in letters:
        number = number << 5 | CODE_LETTERS.index(each)
    data = number.to_bytes(SIZE, "big")
    checksum, body = data[:CHECKSUM], _masked(data[CHECKSUM:], data[:CHECKSUM])
    if digest(CHECKSUM, "checksum", body) != checksum:
        got = "a broken one: a letter is wrong, missing or out of place"
        raise _problem("a code as it was made", got, "copy the whole line once more")
    return body


def _masked(body: bytes, checksum: bytes) -> bytes:
    """The body under a mask that its checksum gives; twice is the body again."""
    mask = digest(len(body), "mask", checksum)
    return bytes(a ^ b for a, b in zip(body, mask, strict=True))


def _problem(expected: str, got: str, remedy: str) -> InputError:
    return InputError(Problem(WHERE, expected, got, remedy))
