"""Random rotations and directions for checks that must hold in any attitude."""

from __future__ import annotations

import numpy as np

from blindfield.physics.arrays import Floats


def random_rotation(rng: np.random.Generator) -> Floats:
    """A proper rotation matrix, uniform over attitudes: QR of a Gaussian matrix, signs fixed."""
    turned, upper = np.linalg.qr(rng.normal(size=(3, 3)))
    rotation: Floats = turned * np.sign(np.diag(upper))
    if np.linalg.det(rotation) < 0:
        rotation[:, 0] *= -1.0
    return rotation


def random_offsets(rng: np.random.Generator, count: int) -> Floats:
    """Offsets (count, 3) in every direction, from 0.3 to 60 m, evenly by the logarithm."""
    direction = rng.normal(size=(count, 3))
    direction /= np.linalg.norm(direction, axis=-1, keepdims=True)
    offsets: Floats = direction * np.exp(rng.uniform(np.log(0.3), np.log(60.0), (count, 1)))
    return offsets
