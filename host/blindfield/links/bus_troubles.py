"""Who on the pair talks without being asked, who shares a number, who else asks; told to people."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass

from blindfield.links.bus_line import Line
from blindfield.links.bus_seats import Seat, token_in

JUDGE_S = 1.0

_JUNK_ROW = 12  # answers in a row; noise that spares one answer in two does it once in 4000
_MUTE_S = 3.0
_STRAY_BYTES = 100  # a second that bring more are no crackle: a frame half heard is 250 at most
_WORDY = 8  # readable frames a second that nobody asked for
_BEFORE_S = 2.0
_FOREIGN = 2  # questions in a second; noise makes none, its sum would have to be right

_CUT = (
    "It is asked no more. Unplug it: no host can take it off the wire, and while it talks, silence "
    "may not get through to the others. Knock on a target, or take its cells out."
)
_BY_HAND = (
    "Unplug one branch after the other until it is quiet. Meanwhile silence may not get through: "
    "knock on a target, or take its cells out."
)
_ANOTHER_HOST = (
    "Another host asks on this pair. End one of the two: they only disturb each other. Either may "
    "silence the field."
)

_log = logging.getLogger(__name__)


class Troubles:
    """`notices` are sentences for people, each also given to `on_notice`; `name_of(number)` is
    what people call a device.
    """

    def __init__(self, line: Line) -> None:
        self.notices: list[str] = []
        self.on_notice: Callable[[str], None] = _log.warning
        self.name_of: Callable[[bytes], str] = lambda number: f"the device {number.hex()}"
        self._line = line
        self._watch = Watch()
        self._judged_s = 0.0
        self._told_foreign = False

    @property
    def talks(self) -> bool:
        """Something talks without being asked."""
        return self._watch.talks

    def say(self, sentence: str) -> None:
        """Tell people, once."""
        self.notices.append(f"{self._line.port.name}: {sentence}")
        self.on_notice(self.notices[-1])

    def judge(self, seats: list[Seat], now_s: float) -> list[tuple[Seat, str]]:
        """Whom to leave alone from now on and why; at most once a second there is an answer."""
        if now_s - self._judged_s < JUDGE_S:
            return []
        self._judged_s = now_s
        bodies, self._line.stray_bodies = self._line.stray_bodies, []
        foreign, self._line.foreign = self._line.foreign, 0
        if foreign:
            self._another_host(seats, foreign)
            return []
        guilty = []
        for seat, why in self._watch.judge(seats, self._line.stray_bytes, bodies, now_s):
            if seat is None:
                self.say(f"{why} {_BY_HAND}")
            else:
                self.say(f"{self.name_of(seat.number)} {why}. {_CUT}")
                guilty.append((seat, why))
        return guilty

    def _another_host(self, seats: list[Seat], questions: int) -> None:
        """What comes unasked, or garbled, then comes of its questions: no device is to blame."""
        for seat in seats:
            seat.junk = 0
        if questions >= _FOREIGN and not self._told_foreign:
            self._told_foreign = True
            self.say(_ANOTHER_HOST)


@dataclass
class Watch:
    """Finds who talks without being asked, and who shares a number.

    Call `judge` about once a second. Each verdict is a seat to leave alone and a sentence for
    people, or a sentence alone when nobody can be named.
    """

    talks: bool = False
    """Something talks unasked now."""

    _stray_bytes: int = 0
    _begun_s: float = 0.0
    _verdict_s: float = 0.0

    def judge(
        self, seats: list[Seat], stray_bytes: int, stray_bodies: list[bytes], now_s: float
    ) -> list[tuple[Seat | None, str]]:
        """`stray_bytes`: so far; `stray_bodies`: since the last call."""
        more, self._stray_bytes = stray_bytes - self._stray_bytes, stray_bytes
        found: list[tuple[Seat | None, str]] = self._wordy(seats, stray_bodies)
        if more < _STRAY_BYTES:
            self.talks = False
            return found + self._doubtful(seats, now_s)
        if not self.talks:
            self.talks, self._begun_s, self._verdict_s = True, now_s, now_s
        for seat in seats:
            seat.junk = 0  # that is the talker's
        return found + self._talker(seats, now_s)

    def _wordy(self, seats: list[Seat], stray_bodies: list[bytes]) -> list[tuple[Seat | None, str]]:
        names = [values[1] for values in map(token_in, stray_bodies) if values]
        why = "talks without being asked, in whole frames"
        return [
            (seat, why)
            for seat in seats
            if not seat.isolated and names.count(seat.address) >= _WORDY
        ]

    def _doubtful(self, seats: list[Seat], now_s: float) -> list[tuple[Seat | None, str]]:
        fine = any(seat.good_s > now_s - 1.0 for seat in seats)
        why = "every answer of it is garbled: another device has the same number, or its wiring is"
        why += " bad"
        return [
            (seat, why) for seat in seats if fine and not seat.isolated and seat.junk >= _JUNK_ROW
        ]

    def _talker(self, seats: list[Seat], now_s: float) -> list[tuple[Seat | None, str]]:
        """In the rests of a talker everyone else answers now and then, and it does not."""
        if now_s - self._verdict_s < _MUTE_S:
            return []
        self._verdict_s = now_s
        # Who was away before it began is not here to talk.
        asked = [s for s in seats if not s.isolated and s.good_s > self._begun_s - _BEFORE_S]
        mute = [seat for seat in asked if seat.good_s < now_s - _MUTE_S]
        if len(mute) == 1 and len(asked) > 1:
            return [(mute[0], "talks without being asked: in its rests everyone else answers")]
        if any(seat.isolated for seat in seats) and not mute:
            return []  # it is named already, and the others come through
        return [(None, "Something on the pair talks without being asked, and nobody can be named.")]
