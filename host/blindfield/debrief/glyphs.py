"""The characters that screens draw with, in Unicode and in plain ASCII."""

from __future__ import annotations

from dataclasses import dataclass

from rich import box


@dataclass(frozen=True)
class Glyphs:
    """`plain`: only ASCII may be shown, the user's own names included."""

    plain: bool
    sends: str
    rests: str
    struck: str
    stray: str
    dug_out: str
    limit: str
    tick: str
    in_play: str
    not_in_play: str
    ground: str
    searcher: str
    bullet: str
    between: str
    frame: box.Box

    def text(self, text: str) -> str:
        """`text` as it can be shown with these characters."""
        if not self.plain:
            return text
        return text.replace("±", "+-").replace("·", "-").encode("ascii", "replace").decode()


UNICODE = Glyphs(
    plain=False,
    sends="━",
    rests="·",
    struck="▼",
    stray="▽",
    dug_out="↑",
    limit="┊",
    tick="╷",
    in_play="●",
    not_in_play="○",
    ground="·",
    searcher="◆",
    bullet="•",
    between=" · ",
    frame=box.ROUNDED,
)
ASCII = Glyphs(
    plain=True,
    sends="=",
    rests=".",
    struck="V",
    stray="x",
    dug_out="^",
    limit="|",
    tick="'",
    in_play="#",
    not_in_play="o",
    ground=".",
    searcher="@",
    bullet="*",
    between=" - ",
    frame=box.ASCII,
)


def glyphs(ascii_only: bool) -> Glyphs:
    return ASCII if ascii_only else UNICODE
