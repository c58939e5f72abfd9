"""What a test, or a person at the practice bench, may do to devices that lie in no snow."""

from __future__ import annotations

from typing import Literal, Protocol

Manner = Literal["sharp", "push", "miss", "neighbour"]
KNOCK_STRENGTH = 2.0
"""A fist that means it: at 1 the detector misses one pattern in fourteen of the signal model."""

MANNERS: tuple[Manner, ...] = ("sharp", "push", "miss", "neighbour")


class Bench(Protocol):
    """The same acts on devices inside the program and on those of the rig.

    All return at once and go on as time goes. A target is named as in its field; an unknown name
    is a ConfigError.
    """

    def probe(self, target: str, manner: Manner = "sharp", strength: float = 1.0) -> float | None:
        """A probe comes down on the target (sharp, push) or beside it (miss, neighbour).

        Gives the host time of the true first contact, where it is known and there is one.
        """

    def contact_s(self, target: str) -> float | None:
        """Host time of the last true contact with the target; None before the first."""
        ...

    def knock(self, target: str) -> float | None:
        """The knock pattern, by hand on the target; the host time of its first knock, if known."""

    def lift(self, target: str) -> None:
        """Hands take the target out of its hole."""

    def put_back(self, target: str) -> None:
        """The target goes back as it lay."""

    def battery(self, target: str, mv: int) -> None:
        """The battery's voltage from now on, in millivolts."""

    def detune(self, target: str, ppm: float) -> None:
        """The device's clock goes so much too fast from now on."""

    def cut_link(self, target: str) -> None:
        """Nothing passes on the line, in either direction, until `mend_link`."""

    def mend_link(self, target: str) -> None: ...

    def reboot(self, target: str) -> None:
        """Power off and on, with the same flash."""

    def cut_power(self, target: str, in_bytes: int) -> None:
        """The power fails after so many more bytes of flash writing; back by `reboot`."""

    def carrier_log(self, target: str) -> list[tuple[float, int, float | None]]:
        """Every burst: its start in host seconds, its periods, when it was cut short or None."""
        ...

    def sending(self, target: str) -> bool:
        """Whether the target's keyed carrier is on the air."""
        ...
