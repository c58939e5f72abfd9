"""What a target's sensors feel on the rig: signals of the stated model, laid onto one body.

The model draws a new attitude with each signal. A buried target keeps its own, so each signal is
turned until its gravity lies as the target's does.
"""

from __future__ import annotations

import math
from random import Random

from blindfield.links.sim.shapes import Frame, Vector
from blindfield.links.sim.strikes import Sensor, generate

RATE_HZ = 800.0
PERIOD_US = 1250
BLOCK_FRAMES = 64
QUIET_LEAD_S = 0.9
"""Of each signal's frames: before the contact, and with nothing but a probe's approach in it."""
_PRE_ROLL_S = 1.0
_EASE_FRAMES = 80
_STILL_FRAMES = 120  # at a signal's start and end nothing moves: gravity alone

Matrix = tuple[Vector, Vector, Vector]


class BuriedBody:
    """One target's body: where up is for its sensor, and whether it is out of its hole."""

    def __init__(self, rng: Random, sensor: Sensor | None = None) -> None:
        self._rng = rng
        self._sensor = sensor or Sensor()
        self._up: Vector | None = None
        self._lift: list[Frame] = []

    @property
    def lifted(self) -> bool:
        return bool(self._lift)

    def quiet(self) -> list[Frame]:
        """One block in which nothing happens."""
        return self.feel("quiet")[0][:BLOCK_FRAMES]

    def feel(self, kind: str, strength: float = 1.0) -> tuple[list[Frame], float | None]:
        """The frames of a signal, RATE_HZ apart, and the first contact in s from the first."""
        signal = generate(
            kind, self._rng, RATE_HZ, strength, pre_roll_s=_PRE_ROLL_S, sensor=self._sensor
        )
        drawn = _gravity(signal.frames[:_STILL_FRAMES])
        turn = _turn(drawn, self._up or drawn)
        frames = [_turned(turn, frame, self._sensor.clip_mg) for frame in signal.frames]
        self._up = _gravity(frames[-_STILL_FRAMES:]) if kind == "lift" else self._up or drawn
        return frames, signal.onset_s

    def settle(self, last: Frame) -> list[Frame]:
        """A second after a signal that may end under load: it lets go, then nothing moves.

        A sensor streams for as long after the last motion.
        """
        frames = self.feel("quiet")[0][: round(RATE_HZ)]
        for i in range(_EASE_FRAMES):
            part = i / _EASE_FRAMES
            x, y, z, plate = (
                round(old + (new - old) * part) for old, new in zip(last, frames[i], strict=True)
            )
            frames[i] = (x, y, z, plate)
        return frames

    def lift(self) -> list[Frame]:
        """Hands take it out of its hole and leave it turned."""
        self._lift = self.feel("lift")[0]
        return self._lift

    def put_back(self) -> list[Frame]:
        """The way back of the last `lift`."""
        frames, self._lift = self._lift[::-1], []
        self._up = _gravity(frames[-_STILL_FRAMES:])
        return frames


def _gravity(frames: list[Frame]) -> Vector:
    """The unit vector of the frames' mean acceleration."""
    x, y, z = (sum(frame[axis] for frame in frames) for axis in range(3))
    length = math.sqrt(x * x + y * y + z * z)
    return x / length, y / length, z / length


def _turn(start: Vector, end: Vector) -> Matrix:
    """The shortest rotation that takes one unit vector to another (Rodrigues' formula)."""
    cosine = sum(a * b for a, b in zip(start, end, strict=True))
    if cosine < -0.999999:  # opposite: half a turn about any axis at right angles to start
        x, y, z = _right_angle(start)
        return (
            (2.0 * x * x - 1.0, 2.0 * x * y, 2.0 * x * z),
            (2.0 * x * y, 2.0 * y * y - 1.0, 2.0 * y * z),
            (2.0 * x * z, 2.0 * y * z, 2.0 * z * z - 1.0),
        )
    x = start[1] * end[2] - start[2] * end[1]
    y = start[2] * end[0] - start[0] * end[2]
    z = start[0] * end[1] - start[1] * end[0]
    part = 1.0 / (1.0 + cosine)
    return (
        (cosine + part * x * x, part * x * y - z, part * x * z + y),
        (part * x * y + z, cosine + part * y * y, part * y * z - x),
        (part * x * z - y, part * y * z + x, cosine + part * z * z),
    )


def _right_angle(to: Vector) -> Vector:
    x, y, z = (0.0, to[2], -to[1]) if abs(to[0]) < 0.9 else (to[1], -to[0], 0.0)
    length = math.sqrt(x * x + y * y + z * z)
    return x / length, y / length, z / length


def _turned(turn: Matrix, frame: Frame, clip_mg: int) -> Frame:
    x, y, z = (
        max(-clip_mg, min(clip_mg, round(sum(row[k] * frame[k] for k in range(3))))) for row in turn
    )
    return x, y, z, frame[3]
