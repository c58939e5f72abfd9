"""Plays signals to the detectors block by block, and reads the recorded walking."""

import json
from array import array
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fieldcore.compat import TICKS_MASK
from fieldcore.sensor import Block
from fieldcore.strike import StrikeDetector

REFERENCES = Path(__file__).resolve().parents[1] / "references"
FRAMES_PER_BLOCK = 32

Frame = Sequence[int]


@dataclass(frozen=True)
class Felt:
    """A finding, its time counted from the first frame of the signal."""

    kind: int
    at_s: float
    strength: int
    flags: int


def blocks(
    frames: Sequence[Frame], rate_hz: float, first_us: int = 0, per_block: int = FRAMES_PER_BLOCK
) -> Iterator[Block]:
    """The signal in blocks (one Block, filled again and again)."""
    block = Block(per_block)
    block.period_us = round(1e6 / rate_hz)
    for first in range(0, len(frames), per_block):
        part = frames[first : first + per_block]
        block.count = len(part)
        block.first_us = (first_us + first * block.period_us) & TICKS_MASK
        block.frames[: 4 * len(part)] = array("h", [value for frame in part for value in frame])
        yield block


def play(
    detector: StrikeDetector, frames: Sequence[Frame], rate_hz: float, first_us: int = 0,
    per_block: int = FRAMES_PER_BLOCK,
) -> list[Felt]:  # fmt: skip
    """What the detector finds in the whole signal."""
    found = []
    start_us = 0
    for block in blocks(frames, rate_hz, first_us, per_block):
        for finding in detector.findings[: detector.feed(block)]:
            at_s = (start_us + finding.at_us) / 1e6
            found.append(Felt(finding.kind, at_s, finding.strength, finding.flags))
        start_us += block.count * block.period_us
    return found


@dataclass(frozen=True)
class Recording:
    """Recorded accelerations, x, y, z in mg."""

    name: str
    rate_hz: float
    frames: list[tuple[int, int, int]]

    @property
    def minutes(self) -> float:
        return len(self.frames) / self.rate_hz / 60.0

    def at_rate(self, rate_hz: float, attenuation_db: float = 0.0) -> list[tuple[int, ...]]:
        """The recording on straight lines between its samples, what moves made weaker.

        Attenuation works on the difference from the recording's mean: gravity stays.
        """
        factor = 10.0 ** (-attenuation_db / 20.0)
        count = len(self.frames)
        mean = [sum(frame[k] for frame in self.frames) / count for k in range(3)]
        found = []
        for i in range(int((count - 1) / self.rate_hz * rate_hz)):
            place = i / rate_hz * self.rate_hz
            at = int(place)
            before, after = self.frames[at], self.frames[at + 1]
            found.append(
                (
                    *(
                        round(m + factor * (a + (b - a) * (place - at) - m))
                        for a, b, m in zip(before, after, mean, strict=True)
                    ),
                    0,
                )
            )
        return found


def recordings() -> list[Recording]:
    """Every recording of walking.bin (see walking.txt there)."""
    data = array("h", (REFERENCES / "walking.bin").read_bytes())
    found = []
    at = 0
    for row in json.loads((REFERENCES / "walking.json").read_text()):
        end = at + 3 * row["frames"]
        part = data[at:end]
        frames = list(zip(part[0::3], part[1::3], part[2::3], strict=True))
        found.append(Recording(row["name"], row["rate_hz"], frames))
        at = end
    return found
