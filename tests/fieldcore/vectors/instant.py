"""Instants: JSON lines [start, readings, stamps] in, what a clock makes of them out."""

import json
import sys

from fieldcore import instant

for text in sys.stdin:
    start, readings, stamps, (lap, ms, us, add_ms, add_us) = json.loads(text)
    clock = instant.Clock()
    clock.start_at(*start)
    seen = []
    for ticks in readings:
        clock.advance(ticks)
        seen.append([clock.lap, clock.ms, clock.us])
    moved = instant.later(lap, ms, us, add_ms, add_us)
    answer = {
        "seen": seen,
        "stamps": [list(clock.instant_of(ticks)) for ticks in stamps],
        "moved": list(moved),
        "diffs": [instant.diff_ms(ms, start[1]), instant.diff_us(ms, us, moved[1], moved[2])],
        "total": str(instant.total_us(lap, ms, us)),
        "split": list(instant.split_us(instant.total_us(lap, ms, us))),
    }
    # Sorted by hand: MicroPython's dict has no order.
    print(json.dumps([[name, answer[name]] for name in sorted(answer)]))
