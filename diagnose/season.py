"""The season record of a machine that is proven good, as plain data.

The form is ``rowfault/season/1``.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.casereport import case_report
from diagnose.cases.case import Remedied
from diagnose.errors import InputError, Place, Problem
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.story.event import Event, Exchanged, Mended
from diagnose.story.replay import replay
from diagnose.story.telling import in_words
from diagnose.story.view import View

SCHEMA = "rowfault/season/1"

Data = dict[str, Any]


def season_record(events: Sequence[Event], knowledge: Knowledge | None = None) -> Data:
    """The runs, what was repaired and what proves it, for somebody to sign.

    Raises `InputError` when the case's machine is not proven good.

    >>> from diagnose.story.event import Checked, Opened, told
    >>> first = told(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> runs = [told(Checked(check=each, pattern="PPPPPP"), "A") for each in ("bleed", "response")]
    >>> mended = told(Mended(remedy="replace-coil", part="row-6/valve"), "A")
    >>> season_record([first, mended, *runs])["work"]
    ['replace coil, done: row 6, row valve']
    """
    knowledge = knowledge or load_knowledge()
    report = case_report(events, knowledge)
    proof = report["proof"]
    if proof is None or not proof["holds"]:
        why = proof["says"] if proof else "its results cannot be ranked"
        raise InputError(
            Problem(
                Place(f"case {report['case']}"),
                "a machine that is proven good",
                why,
                "run what is missing and ask again; rowfault report shows where the case stands",
            )
        )
    kept = ("case", "title", "machine", "opened", "last", "who", "history", "runs", "parts_used")
    return {
        "schema": SCHEMA,
        **{name: report[name] for name in kept},
        "proven_at": max(run["at"] for run in report["runs"] if run["run"] in proof["runs"]),
        "work": _work(View(replay(events), knowledge)),
        "found": [{"id": each["id"], "says": each["says"]} for each in report["cured"]],
        "proof": proof,
        "priors": report["priors"],
        "cautions": report["cautions"],
    }


def _work(view: View) -> list[str]:
    """What was done to the machine, in order."""
    done = (
        Mended(remedy=work.remedy, part=work.part)
        if isinstance(work, Remedied)
        else Exchanged.model_validate({"swap": work.swap, "part": work.part, "with": work.other})
        for work in view.state.case.work
    )
    return [in_words(each, view.machine, view.knowledge) for each in done]
