"""People who work one case at the same time, and a record of what they really did.

What was done stands in a log, in the order in which it was done. Somebody looks at the case, does
a thing or watches another do it, and tells the case of it later, when others were quicker. Asked
about it, everybody says what the log says.
"""

from __future__ import annotations

import fcntl
import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from diagnose.observations.entries import Event, Statement
from diagnose.observations.events import Reading, Remedied, Run, Swapped
from diagnose.observations.result import results_of
from diagnose.observations.state import CaseState, Counted, replay
from diagnose.session.answers import Answer, Question, answered
from diagnose.session.overtaken import Doubt, keep
from diagnose.session.scratch import Keeper

CASE = "20260301-a"
DONE: tuple[Statement, ...] = (
    Run.of("response", "PPPPPF"),
    Run.of("response", "PPPPFP"),
    Run.of("bleed", "PPPPPP"),
    Reading("coil-resistance", "row-6/valve", 7.4),
    Remedied("replace-coil", "row-6/valve"),
    Swapped("swap-coil", "row-6/valve", "row-5/valve"),
)
WORK = (Remedied, Swapped)


class Log:
    """What was really done, in order, and which event tells of which of it; in a file or not."""

    def __init__(self, file: Path | None = None) -> None:
        self.file, self.lines = file, list[list[object]]()

    def _add(self, line: list[object]) -> None:
        if self.file is None:
            self.lines.append(line)
            return
        with self.file.open("a", encoding="utf-8") as file:
            fcntl.flock(file, fcntl.LOCK_EX)
            file.write(json.dumps(line) + "\n")

    def _all(self) -> list[list[object]]:
        if self.file is None:
            return self.lines
        if not self.file.exists():
            return []
        whole = self.file.read_text(encoding="utf-8").splitlines(keepends=True)
        return [json.loads(line) for line in whole if line.endswith("\n")]

    def do(self, uid: str, kind: int) -> None:
        """Do the thing of that kind, now."""
        self._add(["did", uid, kind])

    def tells(self, event: str, uid: str) -> None:
        """An event will tell of a thing that was done."""
        self._add(["tells", event, uid])

    def done(self) -> list[tuple[str, int]]:
        """What was done, with its kind, in order."""
        return [(str(uid), int(str(kind))) for word, uid, kind in self._all() if word == "did"]

    def told(self) -> dict[str, str]:
        """By event, what it tells of."""
        return {str(one): str(uid) for word, one, uid in self._all() if word == "tells"}


class Person:
    """Somebody who looks, does and tells."""

    def __init__(self, who: str, log: Log, keeper: Keeper, rng: random.Random) -> None:
        self.who, self.log, self.keeper, self.rng = who, log, keeper, rng
        self.seen, self.begun, self.uid, self.made, self.step = "", 0, "", 0, 0
        self.meanwhile: Callable[[], None] = lambda: None

    def go_on(self) -> None:
        """Look, do or tell: whichever comes next."""
        self.step += 1
        (self.look, self.act, self.tell)[(self.step - 1) % 3]()

    def look(self) -> None:
        """Look at the case and be asked something."""
        self.seen = self.keeper.events(CASE)[-1].id
        self.begun = len(self.log.done())

    def act(self) -> None:
        """Watch what somebody else has done since, or do something."""
        since = self.log.done()[self.begun :]
        if since and self.rng.random() < 0.6:
            self.uid = self.rng.choice(since)[0]
            return
        self.made += 1
        self.uid = f"{self.who}-{self.made}"
        self.log.do(self.uid, self.rng.randrange(len(DONE)))

    def tell(self) -> None:
        """Tell the case of it, now and then wrongly."""
        what = DONE[dict(self.log.done())[self.uid]]
        if self.rng.random() < 0.3:
            what = misread(what)
        question = Question(f"What of {self.uid}?", "", lambda _: [])
        answer = answered([what], self.who, None, question, self.seen)
        for event in answer.events:
            self.log.tells(event.id, self.uid)
        assert keep(self.keeper, CASE, answer, self) is not None

    def shown(self, others: Sequence[Counted]) -> None:
        """See what others told."""
        assert others

    def settled(self, doubt: Doubt) -> Answer:
        """Say what is so; others may be quicker once more."""
        self.meanwhile()
        order, told = [uid for uid, _ in self.log.done()], self.log.told()
        about = [told[each.event.id] for each in doubt.others]
        if doubt.asks.startswith("Same"):
            return doubt.read(self._which(about))
        if doubt.asks.startswith("Which is right"):
            true = DONE[dict(self.log.done())[self.uid]]
            return doubt.read("mine" if doubt.mine == true else "theirs")
        sooner = [n for n, uid in enumerate(about, 1) if order.index(uid) < order.index(self.uid)]
        if len(about) == 1:
            return doubt.read("after" if sooner else "before")
        return doubt.read(", ".join(map(str, sooner)) or "none")

    def _which(self, about: list[str]) -> str:
        if self.uid not in about:
            return "no"
        return str(about.index(self.uid) + 1) if len(about) > 1 else "yes"


def misread(what: Statement) -> Statement:
    """The same thing, with another result where it has one."""
    if isinstance(what, Run):
        return replace(what, results=results_of("FPPPPP"))
    return replace(what, value=99.0) if isinstance(what, Reading) else what


def counted_once(events: Sequence[Event], log: Log) -> CaseState:
    """Hold a case against what was really done; the state that it comes to.

    Everything told counts once, with the machine as it was then; where anybody saw right, so.
    """
    state, told, kinds = replay(events), log.told(), dict(log.done())
    order = [uid for uid in kinds if uid in {told.get(event.id) for event in events}]
    work = [uid for uid in order if isinstance(DONE[kinds[uid]], WORK)]
    right = {told.get(e.id) for e in events if e.what == DONE[kinds.get(told.get(e.id, ""), 0)]}
    assert [told[id] for id in counting(state, WORK)] == work
    for found, kind in ((state.case.runs, Run), (state.case.readings, Reading)):
        ids = [told[id] for id in counting(state, (kind,))]
        assert sorted(ids) == sorted(uid for uid in order if isinstance(DONE[kinds[uid]], kind))
        for uid, one in zip(ids, found, strict=True):
            sooner = [each for each in work if order.index(each) < order.index(uid)]
            assert one.epoch == len(sooner), uid
            true = DONE[kinds[uid]]
            seen = (
                (one.pattern, getattr(true, "pattern", ""))
                if isinstance(one, Run)
                else (one.value, getattr(true, "value", 0.0))
            )
            assert uid not in right or seen[0] == seen[1], uid
    return state


def counting(state: CaseState, kinds: tuple[type, ...]) -> list[str]:
    """The events of some kinds that count, in the order in which they were done."""
    return [each.event.id for each in state.done if isinstance(each.counts, kinds)]
