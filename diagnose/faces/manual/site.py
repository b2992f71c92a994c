"""The manual as pages of HTML that need nothing but one another."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from jinja2 import Environment, PackageLoader, StrictUndefined
from markdown_it import MarkdownIt
from markupsafe import Markup

from diagnose import __version__
from diagnose.faces.manual.catalogue import Catalogue
from diagnose.faces.manual.linking import CONTENTS, Linker, place
from diagnose.faces.manual.onepage import SORTS


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
        loader=PackageLoader("diagnose.faces.manual"),
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
