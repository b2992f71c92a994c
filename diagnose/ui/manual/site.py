"""The manual as files that link to one another, as Markdown or as HTML."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import cached_property

from jinja2 import Environment, PackageLoader, StrictUndefined
from markdown_it import MarkdownIt
from markupsafe import Markup

from diagnose.ui.manual.catalogue import Catalogue
from diagnose.ui.manual.onepage import SORTS, Key, Page
from diagnose.ui.words import sentence
from diagnose.version import __version__


def html_files(catalogue: Catalogue) -> Mapping[str, str]:
    """By its place, the text of every file of the manual as HTML."""
    return dict(_html(catalogue))


def _html(catalogue: Catalogue) -> Iterator[tuple[str, str]]:
    linker, reader = Linker(catalogue, ".html"), _reader()
    template = _environment().get_template("page.html")
    start = _anchored(reader.render(linker.contents()))
    shown = {"version": __version__, "above": "", "anchor": ""}
    yield f"{CONTENTS}.html", template.render(shown, title="Manual", body=Markup(start))
    for page in catalogue.pages:
        # The text is ours or escaped by the reader, which lets no HTML of its own through.
        body = Markup(_reached(reader.render(linker.linked(page))))
        heading = SORTS[page.sort]
        shown |= {"above": heading, "anchor": _anchor(heading)}
        yield f"{place(page.key)}.html", template.render(shown, title=page.title, body=body)


def _reader() -> MarkdownIt:
    return MarkdownIt("commonmark", {"html": False})


def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("diagnose.ui.manual"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )


def _anchor(heading: str) -> str:
    """What a heading of the contents is called in an address.

    >>> _anchor("Part kinds")
    'part-kinds'
    """
    return heading.lower().replace(" ", "-")


def _reached(html: str) -> str:
    """The page with code that somebody without a mouse can reach and scroll.

    >>> _reached("<pre><code>x</code></pre>")
    '<pre tabindex="0"><code>x</code></pre>'
    """
    return html.replace("<pre>", '<pre tabindex="0">')


def _anchored(html: str) -> str:
    """The contents with a name at each heading, so that pages can lead back to it."""
    for heading in SORTS.values():
        html = html.replace(f"<h2>{heading}</h2>", f'<h2 id="{_anchor(heading)}">{heading}</h2>')
    return html


_CODE = re.compile(r"`([^`\n]+)`")
SPOKEN = re.compile(r"`[^`\n]*`|\[[^]]*\]\([^)]*\)|[^`\[]+|.")
"""Code, links, and what lies between."""

KIND_OF_ACT = "A kind of act:"
"""Such words are ordinary verbs too, so they are not linked where they occur."""

CONTENTS = "index"


def place(key: Key) -> str:
    """Where a page's file stands, without its ending.

    >>> place(("mode", "valve:coil_open")), place(("part kind", "valve"))
    ('modes/valve.coil_open', 'part-kinds/valve')
    """
    sort, id = key
    folder = {"machine": "layouts"}.get(sort, f"{sort}s".replace(" ", "-"))
    return f"{folder}/{id.replace(':', '.').replace(' ', '-')}"


class Linker:
    """Writes links into the pages of a catalogue; ``ending`` is that of the files."""

    def __init__(self, catalogue: Catalogue, ending: str = ".md") -> None:
        self.catalogue, self.ending = catalogue, ending

    def linked(self, page: Page) -> str:
        r"""A page with its links: ids, words where they first occur, and what belongs beside it.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.rules.loading import load_rules
        >>> page = Page("note", "mine", "# mine\n\nThe `bleed` check. No check more.", {})
        >>> Linker(Catalogue(load_knowledge(), load_rules())).linked(page).splitlines()[-1]
        'The [`bleed`](../checks/bleed.md) [check](../words/check.md). No check more.'
        """
        lines: list[str] = []
        met = {page.id}
        for line in page.text.splitlines():
            spoken = not line.startswith(("#", "    ", "```", "$", "- `"))
            fenced = sum(each.startswith("```") for each in lines) % 2
            shown = line if fenced else _CODE.sub(lambda found: self._id(page, found), line)
            lines.append(self._words(shown, met) if spoken and not fenced else shown)
        return "\n".join([*lines, *self._see_also(page)]) + "\n"

    def contents(self) -> str:
        """The page that leads to every other.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.rules.loading import load_rules
        >>> text = Linker(Catalogue(load_knowledge(), load_rules()), ".html").contents()
        >>> [line.partition(":")[0] for line in text.splitlines() if "(checks/" in line]
        ['- [bleed](checks/bleed.html)', '- [response](checks/response.html)']
        """
        lines = ["# Manual of rowfault", "", f"{sentence(START)}"]
        for sort, heading in SORTS.items():
            lines += ["", f"## {heading}", ""]
            lines += [self._entry(page) for page in self.catalogue.of(sort)]
        return "\n".join(lines) + "\n"

    def _entry(self, page: Page) -> str:
        title = page.title if page.sort == "guide" else page.id
        summary = "" if page.sort == "guide" else f": {_escaped(page.summary)}"
        return f"- [{title}]({place(page.key)}{self.ending}){summary}"

    def _see_also(self, page: Page) -> Iterator[str]:
        if not page.see:
            return
        yield from ("", "## See also", "")
        for sort, heading in SORTS.items():
            links = [self._link(f"`{key[1]}`", key) for key in page.see if key[0] == sort]
            if links:
                yield f"- {heading}: {', '.join(links)}"

    def _id(self, page: Page, found: re.Match[str]) -> str:
        """A link for code that is the id of another page; such as belong beside it come first."""
        pages = self.catalogue.by_id.get(found[1].removeprefix("rowfault "), ())
        others = [each.key for each in pages if each.key != page.key]
        beside = [key for key in others if key in page.see]
        return self._link(found[0], (beside or others)[0]) if others else found[0]

    def _words(self, line: str, met: set[str]) -> str:
        """The line with a link at each word that has a page and was not met before."""

        def at(found: re.Match[str]) -> str:
            word = self._spoken[found[0].casefold()]
            if word in met:
                return found[0]
            met.add(word)
            return self._link(found[0], ("word", word))

        pieces = SPOKEN.findall(line)
        return "".join(
            piece if piece[0] in "`[" else self._pattern.sub(at, piece) for piece in pieces
        )

    @cached_property
    def _spoken(self) -> Mapping[str, str]:
        """By how it is spoken, alone or several, the word with a page."""
        words = [page for page in self.catalogue.of("word") if KIND_OF_ACT not in page.text]
        return {form.casefold(): w.id for w in words for form in (w.id, f"{w.id}s")}

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        forms = sorted(self._spoken, key=len, reverse=True)
        return re.compile(rf"(?<![\w@/.:-])(?:{'|'.join(map(re.escape, forms))})(?![\w@/:-])", re.I)

    def _link(self, text: str, key: Key) -> str:
        return f"[{text}](../{place(key)}{self.ending})"


START = (
    "begin with the guide for you; everything else is written from the data that the program runs "
    "on. The machine's own manual, local codes and a qualified technician come first"
)


def _escaped(text: str) -> str:
    r"""Text in which no sign means anything to Markdown.

    >>> _escaped("a [word] of *ours*")
    'a \\[word\\] of \\*ours\\*'
    """
    return re.sub(r"([\\*_\[\]<>])", r"\\\1", text)


def markdown_files(catalogue: Catalogue) -> Mapping[str, str]:
    """By its place, the text of every file of the manual as Markdown."""
    linker = Linker(catalogue, ".md")
    files = {f"{CONTENTS}.md": linker.contents()}
    return files | {f"{place(page.key)}.md": linker.linked(page) for page in catalogue.pages}
