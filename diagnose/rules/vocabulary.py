"""Every kind of fact and finding that a rule may name, as data: fields, types and meanings.

This is the one place that defines them. Rules are checked against it, facts are made by it and
the manual pages are written from it.
"""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.rules.finding import Fact, FactValue
from diagnose.rules.satisfiable import Field, Kind, complaint_about

RULE_GROUPS = ("circumstances", "context", "measurements", "patterns", "contradictions", "advice")
"""The groups of rules, which are also the strata, in the order in which they run."""

_RESULTS = ("pass", "fail", "unsure", "not-run", "no-row")
_YES_NO = ("yes", "no")


def _number(means: str) -> Field:
    return Field("number", means)


def _count(means: str, default: int | None = None) -> Field:
    return Field("count", means, default=default)


def _choice(means: str, choices: tuple[str, ...], default: str | None = None) -> Field:
    return Field("choice", means, choices, default)


_RUN = Field("run", "number of the run in the story, from 1")
_CASE_OR_RUN = Field("run", "number of the run; 0 is the whole case", default=0)
_CHECK = Field("check", "id of the check")
_ANY_CHECK = Field("check", "id of the check, or none", default="none")
_ROW = Field("row", "row number, from 1")
_NTH = _count("place among the readings of the case, from 1")
_PART = Field("part", "id of the part")
_PART_KIND = Field("part-kind", "id of the part's kind")
_MEASUREMENT = Field("measurement", "id of the measurement")
_CIRCUMSTANCE = Field("circumstance", "id of the circumstance")
_OWN_ROW = Field("row", "row that the part belongs to; 0 when several rows share it")
_OWN_BLEED = _choice("last result of that row in the bleed", _RESULTS)
_OWN_RESPONSE = _choice("last result of that row in the response check", _RESULTS)
_ACT = Field("act", "id of the proposed act, or none", default="none")
_READ_AT = {"nth": _NTH, "part": _PART, "part_kind": _PART_KIND, "measurement": _MEASUREMENT}
_ROW_OF_PART = {"row": _OWN_ROW, "bleed": _OWN_BLEED, "response": _OWN_RESPONSE}

GROUP_KINDS = (
    "section",
    "branch",
    "controller",
    "port",
    "chain-tail",
    "ends",
    "alternate",
    "machine",
)
SHARED = ("nothing", "section", "branch", "section-and-branch", "controller", "bleed-port")
ACT_KINDS = ("rerun", "measure", "look", "ask", "swap", "remedy")
_PRICES = ("none", "small", "medium", "large")
SIDES = ("oil", "electric", "none")
SPOTS = ("planter", "tractor", "cab")
_TOOLS = ("none", "meter", "gauge", "display")

_FACTS = (
    Kind(
        "machine",
        "the planter as its layout describes it",
        {
            "machine": Field("machine", "id of the layout"),
            "rows": _count("number of rows"),
            "sections": _count("oil sections"),
            "branches": _count("wiring branches"),
            "controllers": _count("controllers"),
            "chains": _count("sections that are fed as a chain of hoses"),
        },
        "{machine} has {rows} rows",
    ),
    Kind(
        "run",
        "one run of a check, counted",
        {
            "run": _RUN,
            "check": _CHECK,
            "total": _count("rows that were in the run"),
            "passed": _count("rows that passed"),
            "failed": _count("rows that failed"),
            "unsure": _count("rows marked unsure"),
            "not_run": _count("rows of the machine that were left out"),
            "blocks": _count("unbroken stretches of failed rows"),
            "latest": _choice("whether no later run of the same check exists", _YES_NO),
            "full": _choice("whether every row of the machine passed or failed", _YES_NO),
        },
        "run {run} ({check}): {failed} of {total} rows failed",
    ),
    Kind(
        "temperature",
        "a temperature noted for a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "circumstance": _CIRCUMSTANCE,
            "celsius": _number("degrees Celsius"),
            "thickness": _number(
                "how many times as thick mineral oil of ISO grade 46 is as at 49 °C"
            ),
        },
        "run {run}: {circumstance} at {celsius:temperature}",
    ),
    Kind(
        "pressure",
        "a pressure noted for a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "circumstance": _CIRCUMSTANCE,
            "bar": _number("gauge pressure in bar"),
        },
        "run {run}: {circumstance} pressure {bar:pressure}",
    ),
    Kind(
        "setting",
        "a circumstance of a run that was noted as a choice",
        {
            "run": _RUN,
            "check": _CHECK,
            "circumstance": _CIRCUMSTANCE,
            "choice": Field("state", "what was noted"),
        },
        "run {run}: {circumstance:words} {choice:words}",
    ),
    Kind(
        "unknown",
        "a circumstance that nobody noted",
        {"run": _CASE_OR_RUN, "check": _ANY_CHECK, "circumstance": _CIRCUMSTANCE},
        "nothing noted about {circumstance:words}{run:aside}",
    ),
    Kind(
        "history",
        "something known of the machine's past",
        {"circumstance": _CIRCUMSTANCE, "answer": Field("state", "what was answered")},
        "history: {circumstance:words} {answer:words}",
    ),
    Kind(
        "group",
        "rows that share something, of which at least one failed in a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "group": _choice("what the rows share", GROUP_KINDS),
            "place": Field("place", "id of the section, branch, controller, port or hose"),
            "first_row": Field("row", "lowest row"),
            "last_row": Field("row", "highest row"),
            "size": _count("rows in the group"),
            "failed": _count("of these, failed"),
            "passed": _count("of these, passed"),
            "outside_failed": _count("other rows that failed"),
            "outside_passed": _count("other rows that passed"),
            "other_failed": _count("rows of the group that failed the other check last time"),
            "other_passed": _count("rows of the group that passed the other check last time"),
            "sections": _count("oil sections that the rows lie in"),
        },
        "run {run} ({check}): {failed} of the {size} rows of {place} failed, "
        "{outside_failed} elsewhere",
    ),
    Kind(
        "failed_row",
        "a row that failed in a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "row": _ROW,
            "failed_rows": _count("rows that failed in this run"),
            "before": _choice("result of the row before it", _RESULTS),
            "after": _choice("result of the row after it", _RESULTS),
            "end": _choice("whether it is the first or the last row", _YES_NO),
            "other": _choice("its last result in the other check", _RESULTS),
            "times_failed": _count("runs of this check that it failed"),
            "times_passed": _count("runs of this check that it passed"),
        },
        "run {run} ({check}): row {row} failed",
    ),
    Kind(
        "pair",
        "two rows, the only ones that failed in a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "first": Field("row", "the lower row"),
            "second": Field("row", "the higher row"),
            "apart": _count("difference of the row numbers"),
            "shared": _choice("the smallest thing that both need and some rows do not", SHARED),
        },
        "run {run} ({check}): only rows {first} and {second} failed",
    ),
    Kind(
        "changed",
        "a row whose result differed between two runs of one check, one after the other",
        {
            "check": _CHECK,
            "row": _ROW,
            "passed_run": Field("run", "the run in which it passed"),
            "failed_run": Field("run", "the run in which it failed"),
            "first": _choice("which came first", ("pass", "fail")),
            "rows": _count("rows that changed in the same way between these runs"),
            "lowest": _choice("whether it is the lowest of these rows", _YES_NO),
            "alike": _choice(
                "whether everything that was noted for both runs was the same", _YES_NO
            ),
        },
        "{check}: row {row} passed in run {passed_run} and failed in run {failed_run}",
    ),
    Kind(
        "measured",
        "a number read at a part",
        {
            **_READ_AT,
            "number": _number("the reading in the measurement's own unit"),
            "unit": _choice("that unit", ("ohm", "V", "bar", "code")),
            **_ROW_OF_PART,
        },
        "{measurement:words} at {part}: {number:read} {unit}",
    ),
    Kind(
        "compared",
        "a number read at a part beside what physics says it should be",
        {
            **_READ_AT,
            "number": _number("the reading in the measurement's own unit"),
            "unit": _choice("that unit", ("ohm", "V", "bar")),
            "expected": _number("what a sound part would give, same unit"),
            "ratio": _number("the reading divided by what was expected"),
            "allowed": _choice("no: lower than common practice allows", _YES_NO),
            "contact": _number(
                "ohms of a bad contact that would take the volts that a row lacks; 0 when that "
                "cannot be said"
            ),
            **_ROW_OF_PART,
        },
        "{measurement:words} at {part}: {number:read} {unit} where {expected} was expected",
    ),
    Kind(
        "looked",
        "the answer of a look at a part",
        {
            **_READ_AT,
            "choice": _choice("yes when the bad thing was seen", _YES_NO),
            "bad": Field("result", "id of the bad result that yes stands for"),
            **_ROW_OF_PART,
        },
        "{measurement:words} at {part}: {choice}",
    ),
    Kind(
        "swapped",
        "a part, or something of it, that changed places with its like in another row",
        {"part": _PART, "detail": Field("name", "id of the swap")},
        "{part}: {detail} was done",
    ),
    Kind(
        "repeated",
        "a reading of what was read before, no work on its rows having been done between",
        {"nth": _NTH, "earlier": _count("which reading it repeats, from 1")},
        "reading {nth} repeats reading {earlier}",
    ),
    Kind(
        "act",
        "something that is about to be proposed",
        {
            "act": Field("act", "id of the act"),
            "what": _choice("sort of act", ACT_KINDS),
            "check": Field("check", "check of a rerun, else none", default="none"),
            "rows": _count("rows of a rerun", 0),
            "part": Field("part", "part that is touched, else none", default="none"),
            "part_kind": Field("part-kind", "its kind, else none", default="none"),
            "side": _choice("oil side or electric side", SIDES, "none"),
            "detail": Field("name", "id of the measurement, remedy or question", default="none"),
            "at": _choice("where somebody stands to do it", SPOTS, "planter"),
            "tool": _choice("tool of a measurement", _TOOLS, "none"),
            "opens_oil": _choice("whether a line or coupler is opened", _YES_NO, "no"),
            "lets_air_in": _choice("whether air gets into an opened line", _YES_NO, "no"),
            "live": _choice("whether it is done with the circuit powered", _YES_NO, "no"),
            "price": _choice("what parts cost", _PRICES, "none"),
        },
        "{act} is proposed",
    ),
)

_FINDINGS = (
    Kind(
        "state",
        "the state of a circumstance in a run; feeds the probabilities",
        {
            "run": _RUN,
            "check": _CHECK,
            "circumstance": _CIRCUMSTANCE,
            "state": Field("state", "id of the state"),
        },
        made_by=("circumstances",),
    ),
    Kind(
        "standing",
        "how far a run can be trusted",
        {
            "run": _RUN,
            "check": _CHECK,
            "standing": _choice("weak: read with care; void: says nothing", ("weak", "void")),
            "reason": _CIRCUMSTANCE,
        },
        made_by=("circumstances",),
    ),
    Kind(
        "prior",
        "history that makes faults more or less likely; feeds the probabilities",
        {
            "part_kind": _PART_KIND,
            "mode": Field("mode", "id of the mode, or any", default="any"),
            "where": Field("where", "all, ends, or one part's id", default="all"),
            "factor": Field("number", "what the odds are multiplied by", positive=True),
        },
        made_by=("context",),
    ),
    Kind(
        "reading",
        "what a measurement or a look came to; feeds the probabilities",
        {
            "nth": _NTH,
            "part": _PART,
            "measurement": _MEASUREMENT,
            "result": Field("result", "id of the bad result, or good"),
        },
        made_by=("measurements",),
    ),
    Kind(
        "pattern",
        "what the eye sees in a run",
        {
            "run": _RUN,
            "check": _CHECK,
            "place": Field("place", "what the rows share, or machine", default="machine"),
            "first_row": Field("row", "lowest row, 0 when no one row", default=0),
            "last_row": Field("row", "highest row, 0 when no one row", default=0),
        },
        made_by=("patterns",),
    ),
    Kind(
        "contradiction",
        "things noted that do not go together",
        {"run": _CASE_OR_RUN, "row": Field("row", "row, 0 when no one row", default=0)},
        made_by=("contradictions",),
    ),
    Kind(
        "advice",
        "something worth doing first",
        {"run": _CASE_OR_RUN, "act": _ACT},
        made_by=("advice",),
    ),
    Kind(
        "caution",
        "a danger, with what keeps people safe",
        {"run": _CASE_OR_RUN, "act": _ACT},
        made_by=("advice",),
    ),
)

FACTS: Mapping[str, Kind] = {kind.name: kind for kind in _FACTS}
FINDINGS: Mapping[str, Kind] = {kind.name: kind for kind in _FINDINGS}
FACT_KINDS: Mapping[str, Kind] = {**FACTS, **FINDINGS}
RULE_FIELD = Field("rule", "id of the rule that made it")


def fields_to_match(kind: Kind) -> Mapping[str, Field]:
    """The fields that a condition may test: a finding can also be told by its rule.

    >>> list(fields_to_match(FACT_KINDS["advice"]))
    ['run', 'act', 'rule']
    """
    return {**kind.fields, "rule": RULE_FIELD} if kind.made_by else kind.fields


def fact(kind: str, **values: FactValue) -> Fact:
    """A fact of a known kind with every field, checked: only numbers and identifiers.

    Raises `ValueError` for a missing or unknown field, free text or an unusable number.

    >>> str(fact("history", circumstance="washed", answer="yes"))
    'history(circumstance=washed, answer=yes)'
    >>> fact("history", circumstance="it was washed", answer="yes")
    Traceback (most recent call last):
    ValueError: expected an identifier for history.circumstance, got 'it was washed'
    """
    return Fact(kind, complete(kind, values))


def complete(kind: str, values: Mapping[str, FactValue]) -> dict[str, FactValue]:
    """The values in the order of the kind's fields, defaults filled in, each one checked.

    >>> complete("contradiction", {"run": 2})
    {'run': 2, 'row': 0}
    """
    fields = FACT_KINDS[kind].fields
    unknown = values.keys() - fields.keys()
    if unknown:
        raise ValueError(f"expected fields of {kind} ({', '.join(fields)}), got {sorted(unknown)}")
    return {
        name: _checked(f"{kind}.{name}", field, values.get(name, field.default))
        for name, field in fields.items()
    }


def _checked(name: str, field: Field, value: FactValue | None) -> FactValue:
    complaint = complaint_about(field, value)
    if value is None or complaint:
        raise ValueError(f"expected {complaint or 'a value'} for {name}, got {value!r}")
    return value
