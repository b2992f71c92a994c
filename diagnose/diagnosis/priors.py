"""The prior of every mode of every part, given what was told of the machine's past."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.history import circumstances_behind
from diagnose.diagnosis.model import Model
from diagnose.machine.graph import Machine
from diagnose.rules.finding import RuleFinding

Mixture = Sequence[tuple[float, Sequence[RuleFinding]]]
"""Findings with the chance of each set of them."""


def known_prior(
    model: Model,
    told: Mapping[str, str],
    findings: Sequence[RuleFinding],
    parts: frozenset[str] | None = None,
) -> Floats:
    """The same as `prior_given`; what was worked out before is not worked out again.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> model = Model(load_machine("mounted-6"), load_knowledge())
    >>> known_prior(model, {}, ()) is known_prior(model, {}, ())
    True
    >>> np.array_equal(known_prior(model, {}, ()), prior_given(model, {}, ()))
    True
    """
    past = frozenset(told.items()), parts
    about = tuple(one for one in findings if one.kind == "prior")
    if past not in model.priors or model.priors[past][0] != about:
        model.priors[past] = about, prior_given(model, told, about, parts)
    return model.priors[past][1]


def prior_given(
    model: Model,
    told: Mapping[str, str],
    findings: Sequence[RuleFinding],
    parts: Collection[str] | None = None,
) -> Floats:
    """(states) prior of every state: exact for what was told, the average over the rest.

    What the rules found counts where a past was told in full; where some of it is unknown, every
    combination of answers that is left counts with its chance. ``parts`` are those that matter
    to the caller, all of them by default; any other may keep the prior of its kind.

    Of 20 planters one has had mice, which make a broken bus five times as likely (in odds).

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> model = Model(load_machine("mounted-6"), load_knowledge())
    >>> broken = model.flat("power/bus", "broken")
    >>> mice = model.prior({("power/bus", "broken"): 5})[broken]
    >>> mean = 0.95 * model.prior({})[broken] + 0.05 * mice
    >>> bool(np.isclose(prior_given(model, {}, ())[broken], mean, rtol=1e-9))
    True
    """
    every = model.machine.parts
    matter = every if parts is None else parts
    kinds = {every[part].id for part in matter}
    open_pasts = [past for past in model.pasts if past.unknown(told)]
    averaged = {name for past in open_pasts for name in past.circumstances}
    known = [
        one
        for one in findings
        if one.kind == "prior"
        and one.values["part_kind"] in kinds
        and not circumstances_behind(one) & averaged
    ]
    prior = model.prior(_factors(model.machine, known, matter))
    heard = [past for past in open_pasts if not past.kinds.isdisjoint(kinds)]
    mixtures = [list(past.left(model.knowledge, told)) for past in heard]
    named = dict.fromkeys(str(one.values["part_kind"]) for one in _all(mixtures))
    for kind in (kind for kind in named if kind in kinds):
        _average(model, kind, prior, [mix for mix in map(_only(kind), mixtures) if mix], matter)
    return prior


def _factors(
    machine: Machine, findings: Sequence[RuleFinding], matter: Collection[str]
) -> Mapping[tuple[str, str], float]:
    """The product of the factors that findings give each (part, mode); 1 where there is none."""
    found: dict[tuple[str, str], float] = {}
    for kind in dict.fromkeys(str(one.values["part_kind"]) for one in findings):
        own = [one for one in findings if one.values["part_kind"] == kind]
        wheres = sorted({str(one.values["where"]) for one in own})
        alike: dict[tuple[bool, ...], list[float]] = {}
        for part in (part for part in machine.of_kind.get(kind, ()) if part in matter):
            at = tuple(_is_at(machine, part, where) for where in wheres)
            if at not in alike:
                alike[at] = _on_modes(machine, part, own)[1:]
            pairs = zip(machine.parts[part].modes, alike[at], strict=True)
            found |= {(part, mode.id): factor for mode, factor in pairs if factor != 1}
    return found


def _on_modes(machine: Machine, part: str, findings: Sequence[RuleFinding]) -> list[float]:
    """(modes + 1) the product of the factors of findings about a part's kind; 1 for sound."""
    modes = [mode.id for mode in machine.parts[part].modes]
    factors = [1.0] * (len(modes) + 1)
    for one in findings:
        if _is_at(machine, part, str(one.values["where"])):
            for place, mode in enumerate(modes, start=1):
                if one.values["mode"] in ("any", mode):
                    factors[place] *= float(one.values["factor"])
    return factors


def _is_at(machine: Machine, part: str, where: str) -> bool:
    if where == "all":
        return True
    if where == "ends":
        rows = machine.rows_of(part)
        return 1 in rows or machine.rows in rows
    return part == where


def _all(mixtures: Sequence[Mixture]) -> Iterator[RuleFinding]:
    return (one for mixture in mixtures for _, findings in mixture for one in findings)


def _only(kind: str) -> Callable[[Mixture], Mixture]:
    """A mixture narrowed to the findings about one part kind; empty when there are none."""

    def narrowed(mixture: Mixture) -> Mixture:
        own = [(p, [one for one in f if one.values["part_kind"] == kind]) for p, f in mixture]
        return own if any(findings for _, findings in own) else []

    return narrowed


def _average(
    model: Model, kind: str, prior: Floats, mixtures: Sequence[Mixture], matter: Collection[str]
) -> None:
    """Put the mean over every combination of what is unknown in place of a kind's priors.

    Parts that every finding treats alike have one mean.
    """
    states, parts = model.of_kind.get(kind), model.machine.of_kind.get(kind, ())
    if states is None:
        return
    own, wheres = prior[states], {str(one.values["where"]) for one in _all(mixtures)}
    if wheres == {"all"} and (own == own[0]).all():
        prior[states] = _mean(model.machine, parts[0], own[0], mixtures)
        return
    means: dict[tuple[object, ...], Floats] = {}
    every = zip(parts, states, own, strict=True)
    for part, here, mine in (each for each in every if each[0] in matter):
        alike = (mine.tobytes(), *(_is_at(model.machine, part, where) for where in sorted(wheres)))
        if alike not in means:
            means[alike] = _mean(model.machine, part, mine, mixtures)
        prior[here] = means[alike]


def _mean(machine: Machine, part: str, prior: Floats, mixtures: Sequence[Mixture]) -> Floats:
    """A part's prior in the mean over all combinations of the mixtures' alternatives."""
    weights, chances = prior[None], np.ones(1)
    for mixture in mixtures:
        factors = np.array([_on_modes(machine, part, findings) for _, findings in mixture])
        weights = (weights[:, None] * factors).reshape(-1, len(prior))
        chances = np.outer(chances, [chance for chance, _ in mixture]).ravel()
    mean: Floats = (chances / weights.sum(axis=1)) @ weights
    return mean
