"""A hash, a format and the hash before for every entry; seals; who has a case in hand.

What is stored stays as it is: the hashes are of the very text that an older program wrote. The
formulas stand here once more, so that this version comes to the same whatever later ones do.
"""

import hashlib
import json
from collections import Counter
from collections.abc import Iterable

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

FORMAT = 1
"""The form of what was stored before this version."""

TEXTS = ("case", "machine", "title", "opened", "last", "outcome", "causes", "rows_failed")
CASES = sa.table(
    "cases",
    *(sa.column(name, sa.Text) for name in (*TEXTS, "owner", "head", "said", "seal")),
    sa.column("minutes", sa.Float),
    sa.column("length", sa.Integer),
)
EVENTS = sa.table(
    "events",
    *(sa.column(name, sa.Text) for name in ("case", "who", "body", "previous", "sha256")),
    sa.column("number", sa.Integer),
)
WORDS = sa.table("words", sa.column("case", sa.Text), sa.column("said", sa.Text))
DRILLS = sa.table(
    "drills",
    *(sa.column(name, sa.Text) for name in ("id", "at", "who", "code", "machine")),
    sa.column("level", sa.Integer),
    sa.column("marks", sa.Integer),
    sa.column("minutes", sa.Float),
    sa.column("right", sa.Boolean),
    sa.column("opportunities", sa.Text),
    sa.column("seal", sa.Text),
)
PLAYERS = sa.table(
    "players",
    sa.column("who", sa.Text),
    sa.column("drills", sa.Integer),
    sa.column("seal", sa.Text),
)
SEALED_OF_CASES = (*TEXTS, "minutes", "owner", "length", "head", "said")
SEALED_OF_DRILLS = tuple(column.name for column in DRILLS.columns if column.name != "seal")


def upgrade() -> None:
    """Add the columns, and work out what stands in them for what is there."""
    for table, name, kind, default in (
        ("cases", "owner", sa.Text, ""),
        ("cases", "length", sa.Integer, "0"),
        ("cases", "head", sa.String, ""),
        ("cases", "said", sa.String, ""),
        ("cases", "seal", sa.String, ""),
        ("events", "format", sa.Integer, str(FORMAT)),
        ("events", "previous", sa.String, ""),
        ("events", "sha256", sa.String, ""),
        ("drills", "seal", sa.String, ""),
    ):
        op.add_column(table, sa.Column(name, kind, nullable=False, server_default=default))
    op.create_index("events_by_who", "events", ["who", "at"])
    bind = op.get_bind()
    words = {row.case: row.said for row in bind.execute(sa.select(WORDS))}
    for row in bind.execute(sa.select(CASES).order_by(CASES.c.case)).mappings().all():
        length, head = _chain(bind, row["case"])
        said = _sha256(words.get(row["case"], ""))
        values = {**row, **_in_hand(bind, row), "length": length, "head": head, "said": said}
        values["seal"] = _seal(values[name] for name in SEALED_OF_CASES)
        bind.execute(sa.update(CASES).where(CASES.c.case == row["case"]).values(values))
    op.create_table(
        "players",
        sa.Column("who", sa.Text, primary_key=True),
        sa.Column("drills", sa.Integer, nullable=False),
        sa.Column("seal", sa.String, nullable=False),
    )
    many: Counter[str] = Counter()
    for row in bind.execute(sa.select(DRILLS)).mappings().all():
        many[row["who"]] += 1
        seal = _seal(row[name] for name in SEALED_OF_DRILLS)
        bind.execute(sa.update(DRILLS).where(DRILLS.c.id == row["id"]).values(seal=seal))
    for who, drills in many.items():
        values = {"who": who, "drills": drills, "seal": _seal([who, drills])}
        bind.execute(sa.insert(PLAYERS).values(values))


def _in_hand(bind: sa.Connection, row: sa.RowMapping) -> dict[str, str]:
    """Who has a case: who opened it. One that was handed over goes on, and nobody is named."""
    if row["outcome"] == "handed-over":
        return {"outcome": "open", "causes": "[]", "owner": ""}
    first = sa.select(EVENTS.c.who).where(EVENTS.c.case == row["case"], EVENTS.c.number == 1)
    return {"owner": str(bind.execute(first).scalar() or "")}


def _chain(bind: sa.Connection, case: str) -> tuple[int, str]:
    """Chain up a case's entries; how many there are, and the hash of the last."""
    query = sa.select(EVENTS.c.number, EVENTS.c.body).where(EVENTS.c.case == case)
    rows = bind.execute(query.order_by(EVENTS.c.number)).all()
    previous = ""
    for number, body in rows:
        sha256 = _sha256(f"{previous}\n{FORMAT}\n{body}")
        here = (EVENTS.c.case == case) & (EVENTS.c.number == number)
        bind.execute(sa.update(EVENTS).where(here).values(previous=previous, sha256=sha256))
        previous = sha256
    return len(rows), previous


def _seal(values: Iterable[object]) -> str:
    return _sha256(json.dumps(list(values), ensure_ascii=False, separators=(",", ":")))


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
