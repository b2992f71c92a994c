"""Part kinds: how parts of one sort fail, what shows it, what is done about it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal, TypeVar

from pydantic import Field

from diagnose.formats.model import Chance, Flag, Id, Minutes, ModeId, Number, Strict, Text
from diagnose.formats.units import QUANTITIES, quantity_fault
from diagnose.formats.value_problem import FieldFault, Wrong, twins, unknown
from diagnose.tolerances import MOST_LISTED

LARGEST_PRIOR = 0.5

ANY_SETUP = "any"
"""What work wants that can be done in every set-up."""

PARKED = "parked"
"""The set-up that every other is reached from, and that work wants unless it says otherwise."""

Side = Literal["oil", "electric"]
_Reach = Literal["machine", "controller", "section", "branch", "port", "chain", "row"]
_Group = Literal["air", "supply", "section", "wiring", "row"]
Unit = Literal["ohm", "V", "bar", "code", "choice"]
Tool = Literal["none", "meter", "gauge", "display"]
Spot = Literal["planter", "tractor", "cab"]
Price = Literal["none", "small", "medium", "large"]
Opens = Literal["nothing", "coupler", "line"]
"""What of the oil side work opens: a coupler seals itself, an opened line lets air in."""


class Mode(Strict):
    """One way for a part to fail.

    ``prior`` is the chance that a part of this kind has it when a case begins; ``shows`` the
    chance, by check, that it alone makes a row that depends on the part fail. ``provoked_by`` says
    what brings out a fault that comes and goes while the check runs.
    """

    id: ModeId
    name: Text
    says: Text
    prior: Number = Field(gt=0, lt=1)
    source: Text
    shows: Mapping[str, Chance]
    remedy: Id
    provoked_by: Text | None = None


_AGAIN = 0.5
"""What is left of a remedy's chance for each time that the same was done in vain (judgement).

Half of what made it fail is a slip that the next attempt may not repeat; half stays as it is.
"""


class Remedy(Strict):
    """What is done to a part: minutes, the chance that it fixes, what it needs and risks.

    It clears the modes that name it, and those in ``also``, which a lesser remedy would clear too.
    ``setup`` is the state of the machine that the work wants, ``wants`` the lasting set-ups that
    it needs too, ``helper`` whether it wants two,
    ``qualified`` whether it is for a qualified person or the machine's manual only.
    ``at`` is where somebody stands to do it. ``minutes_per_row`` come on top where it is done
    again at each row that depends on the part; what is done at the part alone has none.
    ``goes_on`` says that each attempt begins where the last one stopped, as bleeding does.
    ``opens`` says what of the oil side it opens: rows behind an opened line are bled afterwards.
    """

    id: Id
    does: Text
    at: Spot = "planter"
    minutes: Minutes
    minutes_per_row: Minutes = 0
    setup: Id = PARKED
    opens: Opens = "nothing"
    wants: tuple[Id, ...] = ()
    helper: Flag = False
    fixes: Chance
    goes_on: Flag = False
    also: tuple[ModeId, ...] = ()
    parts_price: Price
    qualified: Flag = False
    needs: tuple[Text, ...] = ()
    caution: Text | None = None
    source: Text

    def minutes_for(self, rows: int) -> float:
        """Minutes of the work on a part that so many rows depend on.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> bleed = load_knowledge().parts["section-air"].remedy("bleed-again")
        >>> bleed.minutes_for(8) - bleed.minutes_for(6) == 2 * bleed.minutes_per_row
        True
        """
        return self.minutes + self.minutes_per_row * rows

    def fixes_after(self, tried: int) -> float:
        """The chance that it clears what it has left that often before.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> clean = load_knowledge().parts["bleed-port"].remedy("clean-port")
        >>> clean.fixes_after(0), clean.fixes_after(1)
        (0.8, 0.4)
        """
        return self.fixes if self.goes_on else self.fixes * _AGAIN**tried


class BadResult(Strict):
    """One bad outcome of a measurement and the modes that bring it about.

    ``sees`` maps a mode of the part itself (``coil_open``), or of a part upstream of it
    (``connector:open``), to the chance that it brings this result about.
    """

    id: Id
    says: Text
    sees: Mapping[str, Chance] = Field(min_length=1)
    false_alarm: Chance


class Swap(Strict):
    """What changes places with the neighbour's, to see whether the failure goes with it.

    ``moves`` names modes of the part itself (``coil_open``), or other part kinds of the same row
    (``driver``), all of whose modes go along. ``things`` is what changes places, in the plural
    (``coils``), ``put_back`` how they go back where they belong. A remedy in ``ended_by`` fits a
    new piece at its place: what is in the other row then stays there.
    """

    id: Id
    does: Text
    things: Text = "parts"
    put_back: Text = "Put both back where they were."
    ended_by: tuple[Id, ...] = ()
    moves: tuple[Text, ...] = Field(min_length=1)
    minutes: Minutes
    setup: Id = PARKED
    opens: Opens = "nothing"
    helper: Flag = False
    needs: tuple[Text, ...] = ()
    caution: Text | None = None
    source: Text


class Measurement(Strict):
    """A reading of, or a look at, one part. Bad results are looked at in order.

    ``at`` is where somebody stands to do it; ``safe_because`` says why there is no caution.
    ``nominal`` is what a sound part shows, ``least`` the lowest that is still sound; both are
    for a feed at its own nominal value and rise with a sound reading of it, the measurement
    ``scales_with``.
    """

    id: Id
    kind: Literal["measure", "look"]
    says: Text
    at: Spot = "planter"
    tool: Tool
    minutes: Minutes
    setup: Id = PARKED
    helper: Flag = False
    needs: tuple[Text, ...] = ()
    caution: Text | None = None
    safe_because: Text | None = None
    unit: Unit
    nominal: Number | None = None
    least: Number | None = None
    scales_with: Id | None = None
    results: tuple[BadResult, ...] = Field(min_length=1)
    source: Text


class PartKind(Strict):
    """What the parts of one sort have in common."""

    id: Id
    name: Text
    says: Text
    side: Side
    reach: _Reach
    group: _Group
    exercised_by: tuple[Id, ...] = Field(min_length=1)
    modes: tuple[Mode, ...] = Field(min_length=1)
    remedies: tuple[Remedy, ...] = Field(min_length=1)
    measurements: tuple[Measurement, ...] = ()
    swaps: tuple[Swap, ...] = ()

    def mode(self, name: str) -> Mode:
        """The mode with this id. Raises `KeyError` when there is none.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().parts["valve"].mode("coil_open").remedy
        'replace-coil'
        """
        return by_id(self.modes, name)

    def remedy(self, name: str) -> Remedy:
        """The remedy with this id. Raises `KeyError` when there is none.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().parts["coupler"].remedy("reseat-coupler").parts_price
        'none'
        """
        return by_id(self.remedies, name)

    def cleared_by(self, remedy: str) -> tuple[Mode, ...]:
        """The modes that a remedy can clear. Raises `KeyError` when there is no such remedy.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> [mode.id for mode in load_knowledge().parts["connector"].cleared_by("clean-connector")]
        ['open', 'high_resistance', 'intermittent', 'shorted']
        """
        also = self.remedy(remedy).also
        return tuple(m for m in self.modes if m.remedy == remedy or m.id in also)

    def measurement(self, name: str) -> Measurement:
        """The measurement with this id. Raises `KeyError` when there is none.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().parts["valve"].measurement("coil-resistance").unit
        'ohm'
        """
        return by_id(self.measurements, name)

    def swap(self, name: str) -> Swap:
        """The swap with this id. Raises `KeyError` when there is none.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().parts["valve"].swap("swap-coil").moves
        ('coil_open', 'coil_shorted')
        """
        return by_id(self.swaps, name)

    def faults(self) -> Iterator[FieldFault]:
        """Names inside the kind that lead nowhere, ids given twice, priors that are too large.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> valve = load_knowledge().parts["valve"]
        >>> twice = valve.model_copy(update={"modes": (valve.mode("coil_open"), *valve.modes)})
        >>> [str(wrong) for _, wrong in twice.faults()]
        ["expected each id once, got a second 'coil_open'"]
        """
        for name in ("modes", "remedies", "measurements", "swaps"):
            yield from twins((name,), [item.id for item in getattr(self, name)])
            if len(getattr(self, name)) > MOST_LISTED:
                got = f"{len(getattr(self, name)):,}"
                yield (name,), Wrong(f"at most {MOST_LISTED} {name}", got, "join those alike")
        remedies = [remedy.id for remedy in self.remedies]
        for place, mode in enumerate(self.modes):
            here = ("modes", place)
            yield from unknown((*here, "remedy"), f"a remedy of {self.id}", mode.remedy, remedies)
            for check in mode.shows:
                what = f"a check that exercises {self.id}"
                yield from unknown((*here, "shows", check), what, check, self.exercised_by)
        own = [mode.id for mode in self.modes]
        for place, offered in enumerate(self.remedies):
            for number, name in enumerate(offered.also):
                yield from unknown(("remedies", place, "also", number), "a mode", name, own)
        for place, measurement in enumerate(self.measurements):
            yield from self._measurement_faults(place, measurement)
        yield from self._swap_faults(remedies)
        total = sum(mode.prior for mode in self.modes)
        if total > LARGEST_PRIOR:
            expected = f"priors that add up to at most {LARGEST_PRIOR}"
            yield ("modes",), Wrong(expected, f"{total:g}")

    def _swap_faults(self, remedies: list[str]) -> Iterator[FieldFault]:
        if self.swaps and self.reach != "row":
            yield ("swaps",), Wrong("swaps of parts of one row only", f"reach: {self.reach}")
        for place, swap in enumerate(self.swaps):
            for number, name in enumerate(swap.ended_by):
                here = ("swaps", place, "ended_by", number)
                yield from unknown(here, f"a remedy of {self.id}", name, remedies)

    def _measurement_faults(self, place: int, measurement: Measurement) -> Iterator[FieldFault]:
        here = ("measurements", place, "results")
        yield from twins(here, [result.id for result in measurement.results])
        if len(measurement.results) > MOST_LISTED:
            expected, got = f"at most {MOST_LISTED} results", f"{len(measurement.results):,}"
            yield here, Wrong(expected, got, "join those alike")
        for name in ("nominal", "least"):
            number, unit = getattr(measurement, name), measurement.unit
            wrong = number is not None and unit in QUANTITIES
            fault = quantity_fault(number, QUANTITIES[unit]) if wrong else None
            if fault is not None:
                yield ("measurements", place, name), fault
        own = [mode.id for mode in self.modes]
        for number, result in enumerate(measurement.results):
            for seen in result.sees:
                if ":" not in seen:
                    what = f"a mode of {self.id}, or KIND:MODE"
                    yield from unknown((*here, number, "sees", seen), what, seen, own)


_Named = TypeVar("_Named", Mode, Remedy, Measurement, Swap)


def by_id(items: tuple[_Named, ...], name: str) -> _Named:
    """The item with this id. Raises `KeyError` when there is none.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> by_id(load_knowledge().parts["valve"].modes, "coil_open").remedy
    'replace-coil'
    """
    for item in items:
        if item.id == name:
            return item
    raise KeyError(name)


def part_in_words(part: str, kind: PartKind) -> str:
    """A part for a sentence: its place unless the whole machine shares it, and its kind.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> kinds = load_knowledge().parts
    >>> part_in_words("row-6/valve", kinds["valve"])
    'row 6, row valve'
    >>> part_in_words("supply/filter", kinds["filter"]) == kinds["filter"].name
    True
    """
    place, _, _ = part.partition("/")
    shared = kind.reach == "machine"
    return kind.name if shared else f"{place.replace('-', ' ')}, {kind.name}"
