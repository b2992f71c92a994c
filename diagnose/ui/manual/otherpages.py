"""Pages of the manual about commands, rules and JSON documents."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Mapping

import click
from pydantic.json_schema import JsonSchemaValue

from diagnose.reports.schemas import DOCUMENTS, schema_of
from diagnose.rules.rulefile import Conclusion, Condition, Example, FieldTest, Firing, Hole, Rule
from diagnose.rules.vocabulary import FACT_KINDS
from diagnose.ui.lazy import called
from diagnose.ui.manual.pages import bulleted_lines, page
from diagnose.ui.words import plain, sentence

_NAME = "rowfault"


def every_command(program: click.Group) -> Iterator[tuple[str, click.Context]]:
    """Every command by the words that call it, such as ``rules list``, groups before members.

    >>> @click.group()
    ... def program(): ...
    >>> @program.command()
    ... def check(): ...
    >>> [name for name, _ in every_command(program)]
    ['check']
    """
    yield from _below(program, click.Context(program, info_name=_NAME), ())


def _below(
    group: click.Group, above: click.Context, words: tuple[str, ...]
) -> Iterator[tuple[str, click.Context]]:
    for name, each in group.commands.items():
        command = called(each)
        context = click.Context(command, info_name=name, parent=above)
        yield " ".join((*words, name)), context
        if isinstance(command, click.Group):
            yield from _below(command, context, (*words, name))


def command_page(name: str, context: click.Context) -> str:
    """What a command does, how it is called, its options and its own commands.

    >>> context = click.Context(click.Command("mend", help="Mend a row."), info_name="mend")
    >>> print(command_page("mend", context))
    # rowfault mend
    <BLANKLINE>
    ## What it does
    <BLANKLINE>
    Mend a row.
    <BLANKLINE>
    ## How it is called
    <BLANKLINE>
        mend [OPTIONS]
    <BLANKLINE>
    ## Options
    <BLANKLINE>
    - `--help`: Show this message and exit.
    """
    command = context.command
    below = command.commands if isinstance(command, click.Group) else {}
    inner = (f"`{name} {each}`: {sub.get_short_help_str(200)}" for each, sub in below.items())
    usage = " ".join([context.command_path, *command.collect_usage_pieces(context)])
    return page(
        f"{_NAME} {name}",
        ("What it does", _with_examples(command.help or "")),
        ("How it is called", f"    {usage}"),
        ("Commands", bulleted_lines(inner)),
        ("Options", bulleted_lines(_options(command, context))),
    )


def _options(command: click.Command, context: click.Context) -> Iterator[str]:
    for parameter in command.get_params(context):
        record = parameter.get_help_record(context)
        if record is not None and isinstance(parameter, click.Option):
            yield f"`{record[0]}`: {sentence(record[1])}"


def _with_examples(help_text: str) -> str:
    """The help as Markdown: the lines of an example as code."""
    paragraphs = help_text.replace("\b\n", "").split("\n\n")
    return "\n\n".join(map(_paragraph, paragraphs))


def _paragraph(text: str) -> str:
    r"""A paragraph; indented lines in it become code.

    >>> _paragraph("Example:\n  rowfault rank mounted-6")
    'Example:\n\n    rowfault rank mounted-6'
    """
    plain = [line for line in text.splitlines() if not line.startswith("  ")]
    code = [f"  {line}" for line in text.splitlines() if line.startswith("  ")]
    return "\n\n".join("\n".join(part) for part in (plain, code) if part)


_OPERATORS = {
    "equals": "is",
    "not": "is not",
    "below": "is below",
    "at_least": "is at least",
    "above": "is above",
    "at_most": "is at most",
    "one_of": "is one of",
}


def rule_page(rule: Rule) -> str:
    """What a rule says, when, why, when it is wrong, its source, and its examples.

    >>> from diagnose.rules.loading import load_rules
    >>> rule_page(load_rules().by_id["oil-cold"]).splitlines()[0]
    '# rule oil-cold'
    """
    trial = "It is on trial: watch whether it helps." if rule.status == "on-trial" else ""
    return page(
        f"rule {rule.id}",
        ("What it says", f"{sentence(rule.says)} Words in braces are filled in from the case."),
        ("When", bulleted_lines(map(condition_words, rule.when))),
        ("Then it finds", bulleted_lines(map(conclusion_words, rule.then))),
        ("Why", sentence(rule.why)),
        ("When it is wrong", sentence(rule.wrong_when)),
        ("Source", sentence(rule.source)),
        ("Standing", trial),
        ("An example", "\n\n".join(_firing(example) for example in rule.fires)),
        ("A near miss", "\n\n".join(map(_example, rule.near_miss))),
    )


def condition_words(condition: Condition) -> str:
    """One condition as a sentence.

    >>> cold = {"fact": "temperature", "as": "oil", "where": {"celsius": {"below": 20}}}
    >>> condition_words(Condition.model_validate(cold))
    'a temperature (a temperature noted for a run), called oil, where celsius is below 20'
    """
    means = f"{plain(condition.kind)} ({_meaning(condition.kind)})"
    start = f"{_article(condition.kind)} {means}" if condition.fact else f"no {means}"
    named = f", called {condition.as_}," if condition.as_ else ""
    tests = " and ".join(_test_words(field, test) for field, test in condition.tests())
    return f"{start}{named} where {tests}" if tests else f"{start}{named}".rstrip(",")


def _meaning(kind: str) -> str:
    return FACT_KINDS[kind].means.partition(";")[0] if kind in FACT_KINDS else "not known"


def _article(word: str) -> str:
    """The article before a word.

    >>> _article("act"), _article("run")
    ('an', 'a')
    """
    return "an" if word[:1] in "aeiou" and not word.startswith("un") else "a"


def _test_words(field: str, test: FieldTest) -> str:
    if isinstance(test.value, Hole):
        value = f"the {plain(test.value.field)} of {test.value.name}"
    else:
        value = ", ".join(map(str, test.constants))
    return f"{plain(field)} {_OPERATORS[test.operator]} {value}"


def conclusion_words(conclusion: Conclusion) -> str:
    """One conclusion as a sentence.

    >>> conclusion_words(Conclusion(finding="standing", values={"standing": "weak"}))
    'a standing (how far a run can be trusted), with standing weak'
    """
    kind = conclusion.finding
    found = f"{_article(kind)} {plain(kind)} ({_meaning(kind)})"
    values = ", ".join(f"{plain(name)} {value}" for name, value in conclusion.values.items())
    return f"{found}, with {values}" if values else found


def _example(example: Example) -> str:
    act = f"with the act {json.dumps(dict(example.act))}" if example.act else ""
    if not example.typed:
        return f"On {example.machine}, {act}."
    line = f"    rowfault rank {shlex.quote(example.machine)} {example.typed}"
    return f"{line}\n\n{act}".rstrip()


def _firing(example: Firing) -> str:
    outcome = "\n".join(_outcome(example))
    return f"{_example(example)}\n\n{outcome}"


def _outcome(example: Firing) -> Iterator[str]:
    if example.says:
        yield f"It says: {sentence(example.says)}"
    if example.values:
        yield f"It finds {', '.join(f'{plain(k)} {v}' for k, v in example.values.items())}."


_HOW = (
    "`rowfault schema {name}` prints this as JSON Schema. Numbers that are no counts may have a "
    "fraction; times are minutes, chances go from 0 to 1."
)

TYPES = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "null": "null",
}


def schema_page(name: str) -> str:
    """What a kind of document holds, what prints it, and every field with its type.

    >>> lines = schema_page("machines").splitlines()
    >>> lines[0], lines[lines.index("## Fields") + 4]
    ('# JSON document machines', 'machines  list of ListedMachine')
    """
    schema = schema_of(name)
    pieces: Mapping[str, JsonSchemaValue] = schema.get("$defs", {})
    return page(
        f"JSON document {name}",
        ("What it holds", _says(schema)),
        (
            "What prints it",
            f"    rowfault {DOCUMENTS[name].printed_by}\n\n{_HOW.format(name=name)}",
        ),
        ("Fields", _fields(schema)),
        *((each, f"{_says(piece)}\n\n{_fields(piece)}".strip()) for each, piece in pieces.items()),
    )


def _says(schema: JsonSchemaValue) -> str:
    """The description; names of fields are no ids of pages, so they are set in italics."""
    return str(schema.get("description", "")).replace("`", "*")


def _fields(schema: JsonSchemaValue) -> str:
    """A line for each field, or for the one thing that a piece without fields is."""
    fields: Mapping[str, JsonSchemaValue] = schema.get("properties", {})
    needed, width = schema.get("required", ()), max(map(len, fields), default=0)
    lines = [
        f"{name:<{width}}  {type_in_words(field)}{'' if name in needed else ', may be missing'}"
        for name, field in fields.items()
    ]
    return "\n".join(["```text", *(lines or [type_in_words(schema)]), "```"])


def type_in_words(schema: JsonSchemaValue) -> str:
    """The type of a field in a few words.

    >>> type_in_words({"type": "array", "items": {"anyOf": [{"type": "number"}, {"type": "null"}]}})
    'list of number or null'
    >>> type_in_words({"type": "object", "additionalProperties": {"$ref": "#/$defs/Cause"}})
    'Cause by name'
    """
    return " or ".join(_kinds(schema))


def _kinds(schema: JsonSchemaValue) -> Iterator[str]:
    kinds = schema.get("anyOf") or schema.get("oneOf")
    if kinds:
        yield from (type_in_words(each) for each in kinds)
    elif "$ref" in schema:
        yield schema["$ref"].rpartition("/")[2]
    elif "const" in schema:
        yield str(schema["const"])
    elif "enum" in schema:
        yield from map(str, schema["enum"])
    elif schema.get("type") == "array":
        yield f"list of {type_in_words(schema.get('items', {}))}"
    elif schema.get("type") == "object":
        inner = schema.get("additionalProperties")
        yield f"{type_in_words(inner)} by name" if isinstance(inner, dict) else "names with values"
    else:
        yield TYPES.get(str(schema.get("type")), "anything")
