"""Causes over time: a small chart, one line for each cause, told apart by dash and by mark."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.reports.forms.case import OverTime, PointReport
from diagnose.ui.svg.picture import Picture
from diagnose.ui.words import percent

_WIDTH, _HEIGHT = 332, 190
_LEFT, _RIGHT, _TOP, _BOTTOM = 42, 320, 12, 156
CHART_LETTERS = "ABCDE"
_MARK = 4.0


def draw_chart(id: str, over_time: OverTime) -> Picture:
    """The chance of each cause, upwards, after each point, to the right.

    >>> from diagnose.reports.forms.case import NamedCause
    >>> points = [PointReport(entry=n, chances=(chance,)) for n, chance in ((3, 0.5), (7, 1.0))]
    >>> causes = [NamedCause(id="row-6/valve:coil_open", says="coil open")]
    >>> picture = draw_chart("c", OverTime(causes=causes, points=points))
    >>> picture.root.find("desc").text
    'coil open: 50 % after entry 3, over 99 % after entry 7'
    >>> [line.get("points") for line in picture.root.findall("polyline[@class='cause cause-0']")]
    ['54,84 308,12']
    """
    points, causes = over_time.points, over_time.causes
    picture = Picture(id, _WIDTH, _HEIGHT, "Causes over time", _description(over_time))
    for share in (0, 0.5, 1):
        y = _y(share)
        picture.line([(_LEFT, y), (_RIGHT, y)], "grid")
        picture.text(_LEFT - 5, y + 4, f"{100 * share:.0f} %", "small", _LEFT - 6, "end")
    for place, point in enumerate(points):
        x = _x(place, len(points))
        picture.text(x, _BOTTOM + 15, str(point.entry), "small", 22)
    picture.text((_LEFT + _RIGHT) / 2, _HEIGHT - 4, "after entry", "small", 120)
    for number in reversed(range(len(causes))):
        _line(picture, number, points)
    return picture


def sample(number: int) -> str:
    """A piece of a cause's line, for the list of what the lines mean.

    >>> '<polyline class="cause cause-0" points="2,8 42,8" />' in sample(0)
    True
    >>> '<circle class="cause-mark cause-0" cx="22" cy="8" r="4" />' in sample(0)
    True
    """
    picture = Picture(f"line-{number}", 44, 16, "", "")
    picture.line([(2, 8), (42, 8)], f"cause cause-{number}")
    _mark(picture, number, 22, 8)
    return picture.silent()


def _x(place: int, many: int) -> float:
    inner = _RIGHT - _LEFT - 24
    return _LEFT + 12 + (inner * place / (many - 1) if many > 1 else inner / 2)


def _y(chance: float) -> float:
    return _BOTTOM - (_BOTTOM - _TOP) * chance


def _line(picture: Picture, number: int, points: Sequence[PointReport]) -> None:
    for stretch in _stretches(number, points):
        if len(stretch) > 1:
            picture.line(stretch, f"cause cause-{number}")
        for x, y in stretch:
            _mark(picture, number, x, y)


def _stretches(number: int, points: Sequence[PointReport]) -> Iterator[list[tuple[float, float]]]:
    """The line, broken where nothing could be ranked."""
    stretch: list[tuple[float, float]] = []
    for place, point in enumerate(points):
        chance = point.chances[number]
        if chance is None:
            yield stretch
            stretch = []
        else:
            stretch.append((_x(place, len(points)), _y(chance)))
    yield stretch


def _mark(picture: Picture, number: int, x: float, y: float) -> None:
    """A circle, square, triangle, diamond or tilted cross."""
    kind = f"cause-mark cause-{number}"
    if number == 0:
        picture.ring(x, y, _MARK, kind)
    elif number == 1:
        picture.box(x - _MARK, y - _MARK, 2 * _MARK, 2 * _MARK, kind)
    elif number == 4:
        picture.line([(x - _MARK, y - _MARK), (x + _MARK, y + _MARK)], kind)
        picture.line([(x - _MARK, y + _MARK), (x + _MARK, y - _MARK)], kind)
    else:
        top, side = (y - 5, x + 5), [(x, y + 5)] if number == 3 else []
        corners = [(x, top[0]), (top[1], y + (0 if number == 3 else 4)), *side]
        corners.append((x - 5, y + (0 if number == 3 else 4)))
        picture.add("polygon", kind, points=" ".join(f"{a:g},{b:g}" for a, b in corners))


def _description(over_time: OverTime) -> str:
    """The first and the last chance of each cause; the table beside the chart has them all."""
    points = [point for point in over_time.points if None not in point.chances]
    if not points:
        return "Nothing could be ranked."
    ends = points[0], points[-1]
    return "; ".join(
        f"{cause.says}: {', '.join(_chance(point, n) for point in ends)}"
        for n, cause in enumerate(over_time.causes)
    )


def _chance(point: PointReport, number: int) -> str:
    """A cause's chance at a point where all were ranked."""
    return f"{percent(point.chances[number] or 0.0)} after entry {point.entry}"
