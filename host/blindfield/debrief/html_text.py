"""HTML as text that cannot be broken by what is put into it."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

_JOINERS = "\u200c\u200d"
"""Print nothing and are needed to write some scripts."""
_UNPRINTABLE = "\ufffd"

Attribute = str | int | float | bool | None


class Html(str):
    """Text that is HTML already; any other text is escaped where it is put in."""

    __slots__ = ()


def escaped(text: str) -> Html:
    """The text itself, as it can stand anywhere in HTML. Characters that print nothing, those that
    turn the direction of writing among them, become a sign that something stood there."""
    if isinstance(text, Html):
        return text
    return Html(escape("".join(map(_shown, text)), quote=True))


def _shown(character: str) -> str:
    if character.isprintable() or character in _JOINERS:
        return character
    return " " if character.isspace() else _UNPRINTABLE


def joined(parts: Iterable[str], between: str = "") -> Html:
    return Html(escaped(between).join(map(escaped, parts)))


def element(tag: str, *content: str, **attributes: Attribute) -> Html:
    """`<tag ...>content</tag>`. In attribute names `_` stands for `-`, and a last `_` for nothing
    (`class_`); None and False leave one out, True writes its name alone."""
    return Html(f"<{tag}{_written(attributes)}>{joined(content)}</{tag}>")


def _written(attributes: dict[str, Attribute]) -> str:
    parts = []
    for name, value in attributes.items():
        name = name.rstrip("_").replace("_", "-")
        if value is True:
            parts.append(f" {name}")
        elif value is not None and value is not False:
            parts.append(f' {name}="{escaped(_plain(value))}"')
    return "".join(parts)


def _plain(value: str | int | float) -> str:
    if isinstance(value, float):
        return f"{value:.2f}".rstrip("0").rstrip(".")
    return str(value)


def person(name: str) -> Html:
    """A name that somebody gave, in whatever script and direction."""
    return element("bdi", name)


def sentence(text: str) -> Html:
    """What stands between backquotes is a command."""
    if isinstance(text, Html):
        return text
    parts = text.split("`")
    if len(parts) % 2 == 0:  # one of them has no partner
        return escaped(text)
    return joined(
        element("code", part) if place % 2 else escaped(part) for place, part in enumerate(parts)
    )


def bullets(lines: Iterable[str], class_: str | None = None) -> Html:
    return element("ul", *(element("li", sentence(line)) for line in lines), class_=class_)


def section(name: str, title: str, *content: str) -> Html:
    """A part of the page with its heading; `name` is where links lead."""
    head = element("h2", title, id=f"{name}-title")
    return element("section", head, *content, id=name, aria_labelledby=f"{name}-title")


def table(
    caption: str, heads: Iterable[str], rows: Iterable[Iterable[str]], **how: Attribute
) -> Html:
    """`heads` over the columns; the first cell of each row is its header."""
    top = element("tr", *(element("th", head, scope="col") for head in heads))
    body = [
        element(
            "tr",
            *(
                element("td", cell) if place else element("th", cell, scope="row")
                for place, cell in enumerate(row)
            ),
        )
        for row in rows
    ]
    said = element("caption", caption)
    inner = element("table", said, element("thead", top), element("tbody", *body), **how)
    return element("div", inner, class_="wide", role="group", aria_label=caption, tabindex=0)
