"""The settings of a device: how it judges its sensors, when its radio is on. Names, units, ranges.

A device keeps the numbers only, in this order (`fieldcore/sensor.py`, made by
`blindfield.model.generate`); `settings_are` carries them so, `set_setting` names one by its place.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SettingSpec:
    """One setting. The unit stands in the name; plate travel is in 0.01 mm (`10um`)."""

    name: str
    default: int
    least: int
    most: int
    doc: str


SETTINGS: tuple[SettingSpec, ...] = (
    SettingSpec("quiet_mg", 24, 8, 500, "within this of the baseline nothing happens"),
    SettingSpec("quiet_10um", 12, 4, 500, "the same for the plate"),
    SettingSpec("sharp_mg", 300, 50, 8000, "sharpness from which a hit is considered"),
    SettingSpec("sharp_ratio", 6, 1, 50, "times the slow motion before it that a hit must be"),
    SettingSpec("sharp_10um", 30, 1, 2000, "travel of the plate that a hit needs"),
    SettingSpec("dead_ms", 90, 20, 140, "after a hit nothing else is one"),
    SettingSpec("push_10um", 70, 10, 5000, "travel of the plate that is a push"),
    SettingSpec("push_hold_ms", 60, 20, 500, "time for which a push must stay"),
    SettingSpec("push_tilt_mg", 22, 4, 500, "lean that is a push where there is no plate"),
    SettingSpec("refractory_ms", 800, 100, 5000, "strikes closer than this are one"),
    SettingSpec("repeat_ms", 10000, 100, 60000, "strikes closer than this are flagged"),
    SettingSpec("clip_mg", 15900, 1000, 32000, "from here the sensor is at its end"),
    SettingSpec("sharp_percent", 35, 5, 95, "part of a hit's acceleration that must be sharp"),
    SettingSpec("dug_out_deg", 40, 15, 80, "angle turned from which a target is dug out"),
    SettingSpec("radio_rest_ms", 4000, 0, 9000, "BLE of a parked device rests so long; 0: never"),
    SettingSpec("listen_every_ms", 1000, 200, 5000, "in a run BLE listens for silence so often"),
    SettingSpec("listen_ms", 80, 20, 500, "and so long each time"),
)
