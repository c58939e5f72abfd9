"""The shared core gives the same answers under CPython and under the real MicroPython.

`vectors/NAME.py` is a script for both: JSON lines in, a JSON line out for each. `cases/NAME.py`
runs here only: `cases(rng)` gives the list of inputs.
"""

import importlib.util
import json
import random
from pathlib import Path
from typing import Any

import pytest

from support.interpreters import run_micropython, run_python

HERE = Path(__file__).resolve().parent
NAMES = sorted(path.stem for path in (HERE / "vectors").glob("*.py"))
SEED = 457


def cases_of(name: str) -> list[Any]:
    spec = importlib.util.spec_from_file_location(f"cases_{name}", HERE / "cases" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    found: list[Any] = module.cases(random.Random(SEED))
    return found


def answers(text: str) -> list[Any]:
    return [json.loads(line) for line in text.splitlines()]


def test_every_vector_script_has_its_cases() -> None:
    assert sorted(path.stem for path in (HERE / "cases").glob("*.py")) == NAMES
    assert {"codec", "journal"} <= set(NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_both_interpreters_give_the_same_answers(name: str) -> None:
    cases = cases_of(name)
    lines = "".join(json.dumps(case) + "\n" for case in cases)
    script = HERE / "vectors" / f"{name}.py"
    here = answers(run_python(script, stdin=lines))
    there = answers(run_micropython(script, stdin=lines, heapsize="256K"))
    assert len(here) == len(there) == len(cases)
    for case, ours, theirs in zip(cases, here, there, strict=True):
        assert ours == theirs, case
    assert len({json.dumps(answer) for answer in here}) > 10, "the cases tell nothing apart"


RAM_STORE = """
import gc, micropython
from fieldcore.journal import Journal
from fieldcore import frame
class Ram:
    page_size = 4096
    pages = 8
    def __init__(self):
        self.data = bytearray(b"\\xff" * 32768)
    def read_into(self, offset, buf):
        for i in range(len(buf)):
            buf[i] = self.data[offset + i]
    def write(self, offset, data):
        for i in range(len(data)):
            self.data[offset + i] = data[i]
    def erase(self, page):
        pass
"""

APPENDING = (
    RAM_STORE
    + """
journal = Journal(Ram(), lambda n: bytes(n))
journal.mount()
def work():
    payload = bytes(8)
    micropython.heap_lock()
    for _ in range(300):
        seq = journal.append(2, 0, 0, 1000, 1, 2, payload)
        last = journal.append(5, 0, 0, 1000, 1, 2, payload)
    room = journal.free()
    acked = journal.ack(journal.journal_id, last)
    micropython.heap_unlock()
    return seq, last, room, acked
print(*work())
"""
)

ALLOCATING = (
    RAM_STORE
    + """
micropython.heap_lock()
try:
    bytearray(64)
    print("allocated")
except MemoryError:
    print("locked")
micropython.heap_unlock()
"""
)

READING = (
    RAM_STORE
    + """
reader = frame.Reader(600)
data = frame.encode(7, bytes(245))
gc.collect()
gc.disable()
before = gc.mem_alloc()
for _ in range(10):
    reader.feed(data)
    found = reader.next()
print((gc.mem_alloc() - before) // 10, len(found[1]), reader.bad)
"""
)


def test_the_heap_lock_catches_an_allocation() -> None:
    assert run_micropython(ALLOCATING).strip() == "locked"


def test_appending_and_opening_pages_allocate_nothing() -> None:
    # 8 pages of 127 records, less the boot's own, the reserve of 8 and the 600 appended
    assert run_micropython(APPENDING, heapsize="256K").split() == [
        "600",
        "601",
        str(8 * 127 - 1 - 8 - 600),
        "True",
    ]


def test_reading_a_longest_frame_allocates_a_bounded_little() -> None:
    per_frame, body, bad = (int(word) for word in run_micropython(READING).split())
    assert (body, bad) == (245, 0)
    assert 245 <= per_frame <= 3000
