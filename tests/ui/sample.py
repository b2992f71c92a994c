"""A ranking report written by hand, for tests of what is drawn from one. All of it is invented."""

from __future__ import annotations

from typing import Any

from diagnose.reports.forms.ranking import RankingReport


def cause(name: str, says: str, probability: float, rows: list[int]) -> dict[str, Any]:
    """One cause as a report holds it, with a remedy that carries a caution."""
    part, _, mode = name.partition(":")
    return {
        "id": name,
        "part": part,
        "mode": mode,
        "says": says,
        "rows": rows,
        "group": "row",
        "probability": probability,
        "low": probability,
        "high": probability,
        "prior": 0.001,
        "for": [{"says": "row 6 failing response", "log_odds": 4.0, "words": "strongly"}],
        "against": [{"says": "row 6 passing bleed", "log_odds": -0.5, "words": "slightly"}],
        "rules": [],
        "remedy": {
            "id": "replace-coil",
            "does": "Replace the coil.",
            "minutes": 15,
            "parts_price": "medium",
            "needs": [],
            "caution": "The coil is hot.",
        },
    }


def report(rows: int = 12, **more: Any) -> RankingReport:
    """A report of a machine whose rows 6 and 7 failed, with everything that one can hold.

    ``more`` are fields that stand in the place of its own.
    """
    return RankingReport.model_validate(as_data(rows) | more)


def as_data(rows: int = 12) -> dict[str, Any]:
    """The same as plain data."""
    half = rows // 2
    return {
        "schema": "rowfault/ranking/1",
        "proven": False,
        "put_back": [],
        "machine": "invented",
        "rows": rows,
        "sections": {
            f"section-{n + 1}": list(range(6 * n + 1, 6 * n + 7)) for n in range(rows // 6)
        },
        "branches": {
            f"harness-{n + 1}": list(range(4 * n + 1, 4 * n + 5)) for n in range(rows // 4)
        },
        "runs": [
            {"check": "bleed", "pattern": "P" * rows, "standing": "sound", "why": []},
            {
                "check": "response",
                "pattern": "PPPPPFF?." + "P" * (rows - 9),
                "standing": "weak",
                "why": ["The oil of run 2 was cool."],
            },
        ],
        "findings": [
            {
                "rule": "oil-cool",
                "kind": "context",
                "says": "The oil of run 2 was cool.",
                "about": [],
                "because": [],
            },
            {
                "rule": "two-rows",
                "kind": "pattern",
                "says": "Only two rows failed.",
                "about": [],
                "because": [],
            },
        ],
        "causes": [
            cause("row-6/valve:coil_open", "row 6, row valve: coil open", 0.62, [6]),
            cause("section-1/hose:blocked", "section 1, hose: blocked", 0.05, [*range(1, half)]),
            cause("supply/coupler:unseated", "couplers: unseated", 0.0006, [*range(1, rows + 1)]),
        ],
        "groups": {"row": 0.9, "section": 0.05, "supply": 0.0006},
        "together": [
            {
                "causes": ["row-6/valve:coil_open", "row-7/valve:coil_open"],
                "probability": 0.4,
                "says": "No one cause explains every failure",
            }
        ],
        "fragile": [
            {"group": "wiring", "factor": 1 / 3, "top": "x", "says": "row 6, connector: open"}
        ],
        "next": [
            {
                "id": "response@5-7",
                "kind": "rerun",
                "says": "rerun response on rows 5–7",
                "rows": [5, 6, 7],
                "minutes": 5.5,
                "expected_minutes": None,
                "bits": 0.4,
                "required": False,
                "blames_row": 6,
                "trouble_rows": [6],
                "needs": ["engine running"],
                "cautions": ["Row units move while the check runs."],
                "outcomes": [
                    {
                        "result": "only 6 fails",
                        "probability": 0.8,
                        "leads_to": "row-6/valve:coil_open",
                        "leads_to_probability": 0.7,
                    },
                    {
                        "result": "good",
                        "probability": 0.19,
                        "leads_to": "chance",
                        "leads_to_probability": 0.7,
                    },
                    {
                        "result": "all fail",
                        "probability": 0.005,
                        "leads_to": "several",
                        "leads_to_probability": 0.7,
                    },
                    {
                        "result": "only 5 fails",
                        "probability": 0.005,
                        "leads_to": "several",
                        "leads_to_probability": 0.7,
                    },
                ],
            }
        ],
        "left_out": [],
        "instead": [],
        "exact": True,
        "sharper": None,
        "log_evidence": -12.5,
        "priors": "shipped",
        "cautions": ["Warm oil scalds."],
    }
