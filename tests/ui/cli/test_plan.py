"""``rowfault plan`` as people and programs see it: text, JSON, DOT, errors."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from typing import Any

import pydot
import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.machine.graph import load_machine
from diagnose.reports.forms.ranking import EndReport, PlanReport
from diagnose.ui.cli.root import rowfault
from diagnose.ui.terminal.plan import dot_lines
from tests.ui.form import either, flag, listed, names, nothing, number, one_of, text, whole

ONE_ROW = "plan mounted-6 oil=54C engine=on response=PPPPPF"
BARE = "--no gauge --no meter --alone"
STORIES = {
    "one row": ONE_ROW,
    "a section": "plan mounted-12 oil=54C bleed=fail:7-12,pass:rest --depth 1",
    "two far rows": "plan mounted-12 oil=54C engine=on response=fail:2,11,pass:rest --depth 1",
    "to be proven": "plan mounted-6 oil=54C response=PPPPPP",
    "proven": "plan mounted-6 oil=54C bleed=PPPPPP response=PPPPPP",
    "isolating": f"{ONE_ROW} --goal isolate",
}
ACT = names(
    {
        "id": text,
        "kind": one_of("rerun", "measure", "look", "ask", "swap", "remedy"),
        "says": text,
        "minutes": number(),
        "needs": listed(text),
        "cautions": listed(text),
    }
)
END = names(
    {
        "conclusion": one_of("proven", "prove", "hand-over", "isolated", "open"),
        "says": text,
        "leading": either(text, nothing),
        "leading_probability": either(number(0, 1), nothing),
        "acts": listed(ACT),
    }
)


def tree_form(got: Any, at: str) -> Iterator[str]:
    """An end, or an act with its outcomes, each with the tree that follows."""
    then = names({"result": text, "probability": number(0, 1), "then": tree_form})
    step = names({"act": ACT, "outcomes": listed(then)})
    yield from (step if "act" in got else END)(got, at)


FORM = names(
    {
        "schema": one_of("rowfault/plan/1"),
        "machine": text,
        "goal": one_of("restore", "isolate"),
        "exact": flag,
        "depth_reached": whole,
        "expected_minutes": names(
            {"repair_only": number(), "plan": number(), "final_pass": number()}
        ),
        "about_rows": listed(whole),
        "other_rows": listed(listed(whole)),
        "tree": tree_form,
        "isolating": either(
            names(
                {
                    "acts": listed(text),
                    "minutes": number(),
                    "separates": listed(listed(text)),
                    "optimal": flag,
                    "guarantee": number(1),
                }
            ),
            nothing,
        ),
        "inseparable": listed(names({"causes": listed(text), "same_remedy": flag})),
        "summary": listed(text),
        "proven": flag,
        "proof": text,
        "priors": text,
    }
)


@cache
def run(line: str) -> Result:
    return CliRunner().invoke(rowfault, line.split(), prog_name="rowfault")


@cache
def report(line: str) -> Any:
    return json.loads(run(f"{line} --json").stdout)


def typed(line: str) -> PlanReport:
    return PlanReport.model_validate(report(line))


def formal(line: str) -> dict[str, Any]:
    """The document, to be changed at will."""
    return dict(report(line))


def nodes(tree: Any) -> Iterator[Any]:
    yield tree
    for outcome in tree.get("outcomes", ()):
        yield from nodes(outcome["then"])


@pytest.mark.parametrize("story", STORIES)
def test_the_document_has_its_form_and_nothing_else(story: str) -> None:
    assert list(FORM(formal(STORIES[story]), "plan")) == []


def test_the_form_notices_what_is_wrong() -> None:
    found = formal(ONE_ROW)
    (told,) = FORM({**found, "goal": "other"}, "plan")
    assert told == "plan.goal: expected one of ('restore', 'isolate'), got other"
    assert list(FORM({**found, "extra": 1}, "plan"))
    assert list(FORM({**found, "tree": {**found["tree"], "outcomes": [{}]}}, "plan"))


@pytest.mark.parametrize("story", STORIES)
def test_the_probabilities_of_every_node_sum_to_one(story: str) -> None:
    for node in nodes(report(STORIES[story])["tree"]):
        if "outcomes" in node:
            assert sum(o["probability"] for o in node["outcomes"]) == pytest.approx(1, abs=1e-6)


def test_what_is_said_of_a_plan_fits_its_case() -> None:
    assert report(STORIES["two far rows"])["about_rows"] in ([2], [11])
    assert len(report(STORIES["two far rows"])["other_rows"]) == 1
    assert report(STORIES["proven"])["tree"]["conclusion"] == "proven"
    assert report(STORIES["proven"])["proven"]
    assert report(STORIES["to be proven"])["tree"]["conclusion"] == "prove"
    assert not report(STORIES["to be proven"])["proven"]


@pytest.mark.parametrize("story", STORIES)
def test_text_fits_80_columns_without_colour_and_says_what_the_document_says(story: str) -> None:
    printed = run(f"{STORIES[story]} --no-colour").stdout
    assert max(map(len, printed.splitlines())) <= 80
    assert "\x1b" not in printed
    words = " ".join(re.sub(r"[│├└─]", " ", printed).split())
    for node in nodes(report(STORIES[story])["tree"]):
        acts = [node["act"]] if "act" in node else node["acts"]
        for act in acts:
            assert act["says"][1:].rstrip(".") in words
            assert all(caution.rstrip(".") in words for caution in act["cautions"])


def test_a_row_that_is_planned_for_later_has_a_cause_of_its_own() -> None:
    assert "failed for a cause of its own" in run(STORIES["two far rows"]).output


def deepest(tree: Any) -> int:
    return 1 + max(deepest(o["then"]) for o in tree["outcomes"]) if "act" in tree else 0


@pytest.mark.slow
@pytest.mark.parametrize("depth", [1, 2, 3])
def test_a_plan_is_as_deep_as_is_asked(depth: int) -> None:
    found = report(f"{ONE_ROW} {BARE} --depth {depth}")
    assert deepest(found["tree"]) == depth


@pytest.mark.parametrize("depth", ["0", "7", "two"])
def test_a_depth_that_cannot_be_is_refused(depth: str) -> None:
    result = run(f"{ONE_ROW} --depth {depth}")
    assert (result.exit_code, result.stdout, "Error: " in result.stderr) == (2, "", True)


def acts_in(line: str) -> list[Any]:
    every = list(nodes(report(line)["tree"]))
    return [node["act"] for node in every if "act" in node]


def tool(act: Any) -> str:
    """The tool that a reading in a plan takes."""
    name, _, part = act["id"].partition("@")
    if act["kind"] not in ("measure", "look"):
        return "none"
    return str(load_machine("mounted-6").parts[part].measurement(name).tool)


@pytest.mark.parametrize("story", ["one row", "isolating"])
def test_a_plan_keeps_to_what_is_at_hand(story: str) -> None:
    every, bare = acts_in(STORIES[story]), acts_in(f"{STORIES[story]} {BARE} --depth 2")
    assert {tool(act) for act in every} & {"gauge", "meter"}
    assert bare
    assert not {tool(act) for act in bare} & {"gauge", "meter"}
    assert not any("two people" in act["needs"] for act in bare)


def test_the_printed_tree_keeps_to_what_is_at_hand() -> None:
    printed = run(f"{ONE_ROW} {BARE}").stdout
    refused = {act["id"] for act in acts_in(ONE_ROW) if tool(act) in ("gauge", "meter")}
    assert refused
    assert not any(name in printed for name in refused)
    assert acts_in(f"{ONE_ROW} {BARE} --depth 2")[0]["id"] in printed


@pytest.mark.parametrize("option", ["--no gauge", "--no meter", "--alone"])
def test_the_isolating_retest_keeps_to_what_is_at_hand(option: str) -> None:
    parts = load_machine("mounted-6").parts
    for act in report(f"{ONE_ROW} --depth 1 {option}")["isolating"]["acts"]:
        name, _, part = act.partition("@")
        if part in parts and name in {each.id for each in parts[part].measurements}:
            made = parts[part].measurement(name)
            assert not (made.helper and option == "--alone"), act
            assert f"--no {made.tool}" != option, act


def test_the_goal_is_told() -> None:
    assert "fewest minutes" in run(f"{ONE_ROW} --no-colour").stdout.splitlines()[0]
    assert (
        "most told per minute" in run(f"{STORIES['isolating']} --no-colour").stdout.splitlines()[0]
    )


QUOTED = r'"(?:[^"\\]|\\.)*"'
NODE = re.compile(rf"  (n\d+) \[label={QUOTED}(?:, style=rounded)?\];")
EDGE = re.compile(rf"  (n\d+) -> (n\d+) \[label={QUOTED}\];")


def parsed(graph: str) -> tuple[list[str], list[tuple[str, str]]]:
    """Nodes and edges of a DOT graph, every line of which must be understood."""
    head, defaults, *lines, end = graph.rstrip().split("\n")
    assert (head, end) == ("digraph plan {", "}")
    assert re.fullmatch(rf"  rankdir=LR; node \[shape=box\]; label={QUOTED};", defaults)
    boxes = [match[1] for line in lines if (match := NODE.fullmatch(line))]
    edges = [(match[1], match[2]) for line in lines if (match := EDGE.fullmatch(line))]
    assert len(boxes) + len(edges) == len(lines), lines
    return boxes, edges


@pytest.mark.parametrize("story", STORIES)
def test_the_graph_is_a_tree_of_boxes_that_are_all_there(story: str) -> None:
    boxes, edges = parsed("\n".join(dot_lines("any", typed(STORIES[story]).tree)))
    assert len(set(boxes)) == len(boxes) == len(edges) + 1
    assert {end for edge in edges for end in edge} <= set(boxes)
    assert sorted(child for _, child in edges) == sorted(set(boxes) - {"n1"})
    assert len(boxes) == len(list(nodes(report(STORIES[story])["tree"])))


@settings(max_examples=100, deadline=None)
@given(st.text("ab -'\"\\{}[]<>;|\n°"))
def test_whatever_is_said_is_quoted(says: str) -> None:
    end = EndReport(conclusion="open", says=says, leading=None, leading_probability=None, acts=())
    boxes, _ = parsed("\n".join(dot_lines(says, end)))
    assert boxes == ["n1"]


def test_the_command_prints_the_graph() -> None:
    made = typed(ONE_ROW)
    assert run(f"{ONE_ROW} --dot").stdout.splitlines() == list(dot_lines(made.machine, made.tree))


# pydot itself calls its parser by names that are about to go.
@pytest.mark.filterwarnings("ignore::pyparsing.warnings.PyparsingDeprecationWarning")
def test_a_reader_of_the_dot_language_finds_the_same_tree() -> None:
    """pydot's grammar of the DOT language, as Graphviz documents it."""
    (graph,) = pydot.graph_from_dot_data(run(f"{ONE_ROW} --dot").stdout)
    boxes = {node.get_name() for node in graph.get_nodes()} - {"node"}
    assert len(boxes) == len(list(nodes(report(ONE_ROW)["tree"])))
    assert len(graph.get_edges()) == len(boxes) - 1
    assert all(node.get_label() for node in graph.get_nodes() if node.get_name() != "node")


@pytest.mark.parametrize(
    ("line", "status"),
    [
        ("mounted12 response=PPPPPF", 1),
        ("mounted-6 response=PPP", 1),
        ("mounted-6 oil=hot response=PPPPPF", 1),
        ("mounted-6 response=PPPPPF replace-coil@row-9=done", 1),
        ("", 2),
        ("mounted-6", 2),
        ("mounted-6 oil=54C", 2),
        ("mounted-6 --file missing.yaml", 2),
        ("mounted-6 --xyzzy", 2),
    ],
)
def test_errors_are_those_of_the_ranking(line: str, status: int) -> None:
    planned, ranked = run(f"plan {line}"), run(f"rank {line}")
    assert (planned.exit_code, planned.stdout) == (status, "")
    assert "Error: " in planned.stderr
    assert planned.stderr.replace("rowfault plan", "rowfault rank") == ranked.stderr


GIVEN = st.sampled_from(
    [
        "mounted-6",
        "response=PPPPPF",
        "response=fail:1-3,pass:rest",
        "bleed=PPPPPP",
        "oil=12C",
        "replace-coil@row-6=done",
        "swap-coil@row-6=row-5",
        "valve-code@row-6/valve=5",
        "--json",
        "--dot",
        "--alone",
        "--no meter",
        "--goal",
        "isolate",
        "x=y",
    ]
)


@settings(max_examples=25, deadline=None)
@given(st.lists(GIVEN | st.text(max_size=4), max_size=6))
def test_no_line_gives_a_traceback(words: list[str]) -> None:
    line = ["plan", "mounted-6", *words, "--depth", "1"]
    assert CliRunner().invoke(rowfault, line).exit_code in {0, 1, 2}
