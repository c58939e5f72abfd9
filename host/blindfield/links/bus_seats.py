"""What the host knows of each device on the pair, and what follows from how they answer."""

from __future__ import annotations

from dataclasses import dataclass

from blindfield.links.bus_line import Answer
from fieldcore import message, wire

FIRST_ADDRESS, LAST_ADDRESS = 32, 247
ABSENT_AFTER = 3
"""Questions in a row that found no answer: from then on it is asked now and then only."""

SLOW_S = 2.0
HINT_AGAIN_S = 1.0


@dataclass
class Seat:
    """`misses`, `junk`: answers in a row that did not come, that came as junk.

    `isolated`: why it is left alone now; empty while it is not.
    """

    number: bytes
    address: int
    misses: int = 0
    junk: int = 0
    good_s: float = 0.0
    tried_s: float = 0.0
    hinted_s: float = 0.0
    mark: int = 0
    isolated: str = ""
    isolated_s: float = 0.0

    @property
    def is_absent(self) -> bool:
        return self.misses >= ABSENT_AFTER

    def note(self, answer: Answer, now_s: float) -> None:
        """How a question to it went."""
        self.tried_s = now_s
        self.junk = self.junk + 1 if answer.garbled and not answer.bodies else 0
        if answer.bodies:
            self.misses, self.good_s = 0, now_s
        elif not answer.garbled:
            self.misses += 1

    def has_news(self, answer: Answer, now_s: float) -> bool:
        """Whether its token says that there is something to fetch, or its opening is gone."""
        for body, _ in answer.bodies:
            values = token_in(body)
            if values is None or values[1] != self.address or values[2] == 0:
                continue
            if values[3] != self.mark or now_s - self.hinted_s >= HINT_AGAIN_S:
                self.mark, self.hinted_s = values[3], now_s
                return True
        return False


def token_in(body: bytes) -> list[int] | None:
    """The values of a token; None for any other body."""
    try:
        values = message.unpack(body)
    except message.Refusal:
        return None
    return values if values[0] == wire.TOKEN else None
