"""An invented run at Larch Hollow: two targets found at 3:12 and 5:40, told event by event."""

from __future__ import annotations

from typing import Any

from blindfield.model.events import DeviceKey, DeviceTime, Event
from blindfield.model.run_summary import RunRecord, RunSummary
from blindfield.model.span import Span

RUN_ID = bytes.fromhex("5a17c0de00bf1d42")
EPOCH = b"larchrun"
UTC = "2026-01-17T10:05:00.000000Z"
ZERO_HOST_S = 1000.0
CLOCK_ID = 0xBEEF0001

# name -> (x_m, y_m, depth_m, in play)
PLACES: dict[str, tuple[float, float, float, bool]] = {
    "Fir": (8.0, 34.0, 1.1, False),
    "Gully": (19.0, 41.0, 1.4, True),
    "Knoll": (27.5, 17.0, 0.9, False),
    "Larch": (36.0, 26.0, 1.2, True),
    "Ridge": (44.0, 43.0, 1.6, False),
    "Spring": (12.0, 11.0, 1.0, False),
}
DEVICE_IDS = {name: bytes([0xA0 + place]) * 8 for place, name in enumerate(PLACES)}

_FROM_START = {"trigger": "at", "time_s": 0.0, "word": 0, "sends": True, "because": ""}
_ON_WORD = {
    "trigger": "on_word",
    "time_s": 420.0,
    "word": 1,
    "sends": True,
    "because": "2nd signal starts on the first strike",
}
CUES: dict[str, list[dict[str, Any]]] = {"Larch": [_FROM_START], "Gully": [_ON_WORD]}


def scenario(**changes: Any) -> dict[str, Any]:
    """Two signals, the second staggered in, out of six buried targets."""
    targets = [
        {
            "name": name,
            "device_id": DEVICE_IDS[name].hex(),
            "x_m": x_m,
            "y_m": y_m,
            "depth_m": depth_m,
            "in_play": in_play,
            "period_us": 1_000_000,
            "on_us": 100_000,
            "phase_us": 0,
            "cues": CUES.get(name, []),
        }
        for name, (x_m, y_m, depth_m, in_play) in PLACES.items()
    ]
    return {
        "kind": "two_signals",
        "title": "Two signals, the second staggered in",
        "seed": 20260117,
        "field": "Larch Hollow",
        "time_limit_s": 900.0,
        "end_on": "strike",
        "start": {"name": "hut peg", "x_m": 25.0, "y_m": 0.0},
        "targets": targets,
        **changes,
    }


def host(kind: str, run_s: float | None, source: str = "host", /, **data: Any) -> Event:
    """An event that the host (or a person at it) stamped at `run_s`."""
    moment = None if run_s is None else ZERO_HOST_S + run_s
    return Event(
        kind=kind,
        source=source,  # type: ignore[arg-type]
        host_epoch=EPOCH,
        utc=UTC,
        run_id=RUN_ID,
        host_s=None if moment is None else Span(moment, moment, moment),
        data=data,
    )


def device(
    kind: str, name: str, run_s: float, seq: int = 1, half_s: float = 0.002, **data: Any
) -> Event:
    """An event that target `name` stamped, known to +-`half_s`."""
    at_s = ZERO_HOST_S + run_s
    ms, us = divmod(round(run_s * 1e6), 1000)
    return Event(
        kind=kind,
        source="device",
        host_epoch=EPOCH,
        utc=UTC,
        run_id=RUN_ID,
        device_key=DeviceKey(DEVICE_IDS[name], 9, seq),
        device_time=DeviceTime(CLOCK_ID, 0, 500_000 + ms, us),
        host_s=Span(at_s - half_s, at_s, at_s + half_s),
        data={"device": name, **data},
    )


def drawn(**changes: Any) -> Event:
    return host(
        "run_drawn", -60.0, field_name="Larch Hollow", scenario=scenario(**changes), seed=20260117
    )


def started(half_s: float = 0.001) -> Event:
    zero = [ZERO_HOST_S - half_s, ZERO_HOST_S, ZERO_HOST_S + half_s]
    return host("started_all", -3.0, start_host_s=zero, start_utc=UTC)


def good_run() -> list[Event]:
    """Larch struck at 3:12.48 (a sharp hit), the word goes out, Gully struck at 5:40.66 (a push).

    Knoll, which was not in play, is struck at 4:21.30; Fir's link is lost for 48 s.
    """
    return [
        drawn(),
        *(host("loaded", -20.0, device=name, slot=0, revision=1) for name in PLACES),
        started(),
        device("sends", "Larch", 0.0005, 1, cue=0),
        host("link_lost", 88.0, device="Fir", link="sim:practice"),
        host("link_back", 136.0, device="Fir", link="sim:practice", away_s=47.6),
        device("strike", "Larch", 192.48, 2, shape="sharp", strength_mg=180, in_play=True),
        host("word_sent", 193.05, device="Gully", word=1, acknowledged=True, cause="first strike"),
        device("sends", "Gully", 193.064, 1, cue=0),
        device("strike", "Larch", 198.2, 3, shape="sharp", strength_mg=90, in_play=True),
        device("strike", "Knoll", 261.3, 1, shape="push", strength_mg=60, in_play=False),
        device("strike", "Gully", 340.66, 2, shape="push", strength_mg=75, in_play=True),
        device("ended", "Larch", 344.2, 4, cause="end word"),
        device("ended", "Gully", 344.2, 3, cause="end word"),
        host("closed", 344.0, outcome="met", reason="", found=2, targets=2),
    ]


def summary(**changes: Any) -> RunSummary:
    values: dict[str, Any] = {
        "run_id": RUN_ID,
        "field_name": "Larch Hollow",
        "scenario_kind": "two_signals",
        "standard": None,
        "time_limit_s": 900.0,
        "started_utc": UTC,
        "ended_utc": UTC,
        "outcome": "met",
        "targets": 2,
        "find_run_s": (Span(192.4, 192.48, 192.5), Span(340.6, 340.66, 340.7)),
        "flags": (),
        **changes,
    }
    return RunSummary(**values)


def record(summed: RunSummary | None = None, *, is_open: bool = False) -> RunRecord:
    return RunRecord(
        run_id=RUN_ID,
        field_name="Larch Hollow",
        drawn_utc=UTC,
        commitment="00" * 32,
        salt=None if is_open else "11" * 32,
        is_open=is_open,
        summary=None if is_open else (summed or summary()),
    )
