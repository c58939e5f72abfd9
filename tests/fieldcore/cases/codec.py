"""Cases for vectors/codec.py: good values, damaged ones and noise."""

import random

from fieldcore import cbor, frame

BAD_TEXTS = ("62c080", "63e08080", "63eda080", "63edbfbf", "64f0808080", "64f4908080", "64f5808080",
             "61ff", "61c3", "6180", "62c341", "64f7bfbfbf", "65f888808080")  # fmt: skip
TEXTS = ("", "a", "Grüße", "水", "\U00010151", '"\\')


def value(rng: random.Random, depth: int = 0) -> object:
    pick = rng.randrange(7 if depth < 4 else 5)
    if pick == 0:
        return rng.randrange(-(2**32), 2**32) >> rng.randrange(33)
    if pick == 1:
        return rng.randbytes(rng.choice((0, 3, 23, 24, 60)))
    if pick == 2:
        return rng.choice(TEXTS)
    if pick == 3:
        return rng.choice((True, False, None))
    if pick == 4:
        return rng.choice((23, 24, 255, 256, 65535, 65536, -24, -25, -256, -257, 2**32 - 1))
    return [value(rng, depth + 1) for _ in range(rng.randrange(6))]


def damaged(rng: random.Random, data: bytes) -> bytes:
    at = rng.randrange(len(data))
    return rng.choice(
        (
            data[:at],
            data + rng.randbytes(1),
            data[:at] + rng.randbytes(1) + data[at + 1 :],
            data[:at] + data[at + 1 :],
        )
    )


def stream(rng: random.Random) -> list[str]:
    parts = []
    for _ in range(rng.randrange(1, 6)):
        good = frame.encode(rng.randrange(256), rng.randbytes(rng.choice((0, 1, 20, 245))))
        noise = rng.choice((b"", b"Traceback: text\r\n\0", b"\0\0", rng.randbytes(9), b"x" * 300))
        parts.append(noise + rng.choice((good, good, damaged(rng, good))))
    data = b"".join(parts)
    cut = rng.randrange(1, 400)
    return [data[i : i + cut].hex() for i in range(0, len(data), cut)]


def cases(rng: random.Random) -> list[list[object]]:
    out: list[list[object]] = [["cbor", text] for text in BAD_TEXTS]
    for _ in range(150):
        data = cbor.dumps(value(rng))
        out.append(["cbor", data.hex()])
        out.append(["cbor", damaged(rng, data).hex()])
        out.append(["cbor", rng.randbytes(rng.randrange(1, 6)).hex()])
        out.append(["cbor", (b"\x63" + rng.randbytes(3)).hex()])
    for _ in range(60):
        out.append(["encode", rng.randrange(-1, 258), rng.randbytes(rng.randrange(248)).hex()])
        stuffed = frame.cobs_encode(rng.randbytes(rng.choice((1, 40, 253, 254, 255, 510))))
        out.append(["cobs", rng.choice((stuffed, damaged(rng, stuffed))).hex()])
        out.append(["read", stream(rng)])
        secret = rng.randbytes(rng.choice((16, 32, 64, 65)))
        out.append(["tag", secret.hex(), rng.randbytes(rng.randrange(90)).hex(), 8])
        a, b = rng.randrange(2**30), rng.randrange(2**30)
        out += [["ticks", a, b], ["ticks", a, -b], ["ticks", a, (a + 2**29) % 2**30]]
    return out
