"""A case: what was observed and done at one machine, the replay of its events.

Each remedy or swap begins a new *epoch*: the time before the first is epoch 0. A run or reading
says in which epoch it was made, so that it counts with the parts as they were then.

A `Case` holds only what was observed. What it means is worked out by later modules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import field, replace

from diagnose.observations.events import History, Observed, Reading, Run, Work
from diagnose.record import record


@record
class Case:
    """One machine's story so far.

    Parameters
    ----------
    machine: id of the layout.
    runs: in the order in which they were made.
    readings: measurements and looks at parts.
    history: what is known of the machine's past, by circumstance id (``first-hookup`` → ``yes``).
    work: remedies and swaps in the order in which they were done; number k begins epoch k + 1.
    """

    machine: str
    runs: tuple[Run, ...] = ()
    readings: tuple[Reading, ...] = ()
    history: Mapping[str, str] = field(default_factory=dict)
    work: tuple[Work, ...] = ()

    @classmethod
    def of(cls, machine: str, events: Iterable[Observed]) -> Case:
        """The replay of events: each counts in the epoch in which it is told.

        What is said of the past later wins; runs are numbered anew.

        >>> from diagnose.observations.events import Remedied
        >>> told = [Run.of("bleed", "F"), Remedied("bleed", "row-1/valve"), Run.of("bleed", "P")]
        >>> case = Case.of("one", told)
        >>> [(run.index, run.epoch) for run in case.runs], Case.of("one", case.events()) == case
        ([(1, 0), (2, 1)], True)
        """
        case = cls(machine)
        for event in events:
            case = case.then(event)
        return case

    def events(self) -> Iterator[Observed]:
        """What the case is the replay of: what is known of the past, then all that was done.

        >>> past = History({"first-hookup": "yes"})
        >>> [event.kind for event in Case.of("one", [Run.of("bleed", "P"), past]).events()]
        ['history', 'run']
        """
        if self.history:
            yield History(self.history)
        yield from self.in_order()

    def in_order(self) -> Iterator[Run | Reading | Work]:
        """All that was done, epoch by epoch: what ended the last one, its runs, its readings.

        >>> from diagnose.observations.events import Remedied
        >>> looked = Case("one").then(Reading("look-leak", "row-1/valve", "no"))
        >>> failed = looked.then(Run.of("bleed", "F"))
        >>> mended = failed.then(Remedied("clean-valve", "row-1/valve"))
        >>> proven = mended.then(Run.of("bleed", "P"))
        >>> [type(each).__name__ for each in proven.in_order()]
        ['Run', 'Reading', 'Remedied', 'Run']
        """
        for epoch in range(len(self.work) + 1):
            yield from self.work[epoch - 1 : epoch] if epoch else ()
            yield from (run for run in self.runs if run.epoch == epoch)
            yield from (reading for reading in self.readings if reading.epoch == epoch)

    def then(self, event: Observed) -> Case:
        """The case with one more thing that happened; its number and epoch are filled in.

        >>> from diagnose.observations.events import Remedied
        >>> case = Case("mounted-6").then(Run.of("response", "PPPPPF"))
        >>> case = case.then(Remedied("replace-coil", "row-6/valve"))
        >>> case = case.then(Run.of("response", "PPPPPP"))
        >>> [(run.index, run.epoch) for run in case.runs]
        [(1, 0), (2, 1)]
        """
        epoch = len(self.work)
        match event:
            case Run():
                run = replace(event, index=len(self.runs) + 1, epoch=epoch)
                return replace(self, runs=(*self.runs, run))
            case Reading():
                return replace(self, readings=(*self.readings, replace(event, epoch=epoch)))
            case History():
                return replace(self, history={**self.history, **event.values})
            case _:
                return replace(self, work=(*self.work, event))
