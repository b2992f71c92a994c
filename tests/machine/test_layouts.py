"""The shipped machines have the structure that was asked for."""

import networkx as nx
import pytest

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import Machine, load_machine

KNOWLEDGE = load_knowledge()
MACHINES = {name: load_machine(name, KNOWLEDGE) for name in sorted(KNOWLEDGE.layouts)}

# id: rows, sections, chained sections, branches, controllers, rows of the bleed ports
EXPECTED = {
    "mounted-6": (6, [6], [], [6], [6], [1, 6]),
    "mounted-12": (12, [6, 6], [], [4, 4, 4], [12], [1, 6, 12]),
    "folding-16": (16, [5, 6, 5], [1, 3], [5, 6, 5], [16], [1, 16]),
    "folding-24": (24, [6] * 4, [], [8] * 3, [24], [1, 7, 18, 24]),
    "folding-48": (48, [6] * 8, [1, 2, 3, 6, 7, 8], [8] * 6, [24, 24], [1, 13, 19, 30, 36, 48]),
}

each_machine = pytest.mark.parametrize("machine", MACHINES.values(), ids=MACHINES)


def sizes(rows: dict[str, tuple[int, ...]]) -> list[int]:
    return [len(each) for each in rows.values()]


@pytest.mark.parametrize("name", EXPECTED)
def test_each_layout_has_its_rows_and_groups(name: str) -> None:
    machine = MACHINES[name]
    rows, sections, chains, branches, controllers, ports = EXPECTED[name]
    assert (machine.rows, sizes(machine.sections)) == (rows, sections)
    assert list(machine.chains) == [f"section-{number}" for number in chains]
    assert (sizes(machine.branches), sizes(machine.controllers)) == (branches, controllers)
    assert sorted(machine.port_rows.values()) == ports


def test_mounted_12_has_branches_that_cross_its_sections() -> None:
    machine = MACHINES["mounted-12"]
    assert machine.sections["section-2"] == (7, 8, 9, 10, 11, 12)
    assert machine.branches["harness-2"] == (5, 6, 7, 8)


@pytest.mark.parametrize("name", ["folding-16", "folding-48"])
def test_wings_are_fed_from_the_inside_out(name: str) -> None:
    machine = MACHINES[name]
    for order in machine.chains.values():
        from_the_centre = [abs(row - (machine.rows + 1) / 2) for row in order]
        assert from_the_centre == sorted(from_the_centre)


@each_machine
def test_every_layout_is_labelled_as_invented(machine: Machine) -> None:
    assert "invented layout" in machine.name


@each_machine
def test_every_row_is_in_one_section_and_one_branch(machine: Machine) -> None:
    for groups in (machine.sections, machine.branches, machine.controllers):
        assert sorted(row for rows in groups.values() for row in rows) == list(
            range(1, machine.rows + 1)
        )


@each_machine
def test_nothing_needs_itself(machine: Machine) -> None:
    assert nx.is_directed_acyclic_graph(machine.graph)


@each_machine
def test_every_part_has_its_kind_and_serves_a_row(machine: Machine) -> None:
    assert set(machine.parts) == set(machine.graph)
    for part, kind in machine.parts.items():
        assert machine.graph.nodes[part]["kind"] is kind
        assert machine.rows_of(part)


@each_machine
def test_parts_of_the_whole_machine_come_first_and_parts_of_rows_last(machine: Machine) -> None:
    reaches = [kind.reach for kind in machine.parts.values()]
    assert reaches[0] == "machine"
    assert reaches[-7 * machine.rows :] == ["row"] * 7 * machine.rows


@each_machine
def test_what_a_part_reaches_is_what_its_kind_says(machine: Machine) -> None:
    groups = {"section": machine.sections, "branch": machine.branches, "port": machine.ports}
    for part, kind in machine.parts.items():
        rows, place = machine.rows_of(part), part.partition("/")[0]
        if kind.reach in groups:
            assert rows == groups[kind.reach][place]
        if kind.reach == "row":
            assert f"row-{rows[0]}" == place


@each_machine
def test_measurements_see_only_kinds_that_stand_upstream(machine: Machine) -> None:
    for part, kind in machine.parts.items():
        upstream = {machine.parts[other].id for other in machine.upstream(part)}
        results = (result for each in kind.measurements for result in each.results)
        seen = {name.partition(":")[0] for result in results for name in result.sees if ":" in name}
        assert seen - upstream <= {"chain-hose"}, "only rows of a chain have such a hose"
