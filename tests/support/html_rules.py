"""What a page must keep to be opened offline, read aloud and trusted, checked on its text."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "link", "br", "img", "hr"}
HEADINGS = ("h1", "h2", "h3")
LANDMARKS = ("header", "nav", "main", "footer")


@dataclass
class _Seen(HTMLParser):
    """Everything that the rules ask for, in one reading."""

    open: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    tags: Counter[str] = field(default_factory=Counter)
    ids: Counter[str] = field(default_factory=Counter)
    asked: set[str] = field(default_factory=set)
    headings: list[str] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    cells: int = 0
    text: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        self.tags[tag] += 1
        if len(told) < len(attrs):
            self.faults.append(f"an attribute twice in <{tag}>")
        if tag not in VOID:
            self.open.append(tag)
        self.faults += _faults_of(tag, told)
        if "id" in told:
            self.ids[told["id"]] += 1
        for name in ("aria-labelledby", "aria-describedby"):
            self.asked |= set(told.get(name, "").split())
        if told.get("href", "").startswith("#"):
            self.asked.add(told["href"][1:])
        if tag in HEADINGS:
            self.headings.append(tag)
        self._count_cells(tag)

    def _count_cells(self, tag: str) -> None:
        if tag == "table":
            self.columns.append(0)
        if tag == "tr":
            self.cells = 0
        if tag in ("th", "td"):
            self.cells += 1

    def handle_endtag(self, tag: str) -> None:
        if tag == "tr" and self.columns:
            self.columns[-1] = self.columns[-1] or self.cells
            if self.cells != self.columns[-1]:
                self.faults.append(f"a row of {self.cells} cells in {self.columns[-1]} columns")
        if tag == "table" and self.columns:
            self.columns.pop()
        if tag in VOID or not self.open or self.open.pop() != tag:
            self.faults.append(f"</{tag}> closes what is not open")

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.text.append(data)


def _faults_of(tag: str, told: dict[str, str]) -> Iterator[str]:
    if tag in ("script", "iframe", "object", "embed", "form", "base", "img"):
        yield f"<{tag}>"
    if tag == "html" and not told.get("lang"):
        yield "no language"
    if tag == "th" and told.get("scope") not in ("col", "row"):
        yield "a header without scope"
    pictured = told.get("role") == "img" and "aria-labelledby" in told
    inner = told.get("class", "at") == "at"  # part of a picture that has its words
    if tag == "svg" and not (pictured or inner or told.get("aria-hidden") == "true"):
        yield "a picture without words"
    for name, value in told.items():
        if name.startswith("on") or name == "style":
            yield f"{name} in <{tag}>"
        if name in ("href", "src", "xlink:href") and not value.startswith(("#", "data:,")):
            yield f"{name} leads to {value}"


def read(page: str) -> _Seen:
    seen = _Seen()
    seen.feed(page)
    seen.close()
    return seen


def text_of(page: str) -> str:
    """The words of the page, in its order, one space between them."""
    return " ".join(" ".join(read(page).text).split())


def faults(page: str) -> list[str]:
    """Every rule that the page breaks; empty when it keeps all of them."""
    seen = read(page)
    found = [*seen.faults, *(f"<{tag}> is left open" for tag in seen.open)]
    found += [f"id {name} is there {count} times" for name, count in seen.ids.items() if count > 1]
    found += [f"nothing is called {name}" for name in sorted(seen.asked - set(seen.ids))]
    found += [f"{seen.tags[tag]} of <{tag}>" for tag in (*LANDMARKS, "h1") if seen.tags[tag] != 1]
    if seen.headings[:1] != ["h1"]:
        found.append("the first heading is no h1")
    found += [f"{word} in it" for word in _outward(page)]
    return found


def _outward(page: str) -> list[str]:
    return re.findall(r"https?:|//\w|@import|url\(", page, flags=re.IGNORECASE)


def contrast(one: str, other: str) -> float:
    """Contrast of two colours written #rrggbb, by the formula of WCAG 2 (from memory)."""
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
