"""`blindfield check`: who is fit, what to do, and how long nobody could silence a target."""

from __future__ import annotations

import dataclasses
import json

import pytest

from support.in_process import InProcess


def test_a_field_in_order_is_fit_and_its_longest_silence_bound_is_said(here: InProcess) -> None:
    status, out, _ = here.call("check")
    said = " ".join(out.split())
    assert status == 0
    assert "Larch Hollow is fit." in said
    assert "can go on sending for 20.0 min at the longest" in said
    here.write(dataclasses.replace(here.place, lease_s=90.0))
    assert "1.5 min at the longest" in " ".join(here.call("check")[1].split())
    assert here.bursts() == 0


def test_each_fault_is_named_with_what_to_do(here: InProcess) -> None:
    async def spoil() -> None:
        here.sim.battery("1", 2100)
        here.sim.battery("2", 2500)
        here.sim.cut_link("3")

    assert here.call("devices")[0] == 0
    here.let(spoil)
    status, out, _ = here.call("check", "--json")
    rows = {row["name"]: row for row in json.loads(out)["devices"]}
    assert status == 1
    assert rows["1"]["trouble"] == "battery empty"
    assert rows["2"]["trouble"] == ""
    assert rows["2"]["advice"] == "change its cells soon"
    assert rows["3"]["trouble"] == "does not answer"
    assert "Not fit yet" in here.call("check")[1]
    here.call("silence")
    silenced = json.loads(here.call("check", "--json")[1])["devices"]
    assert {row["trouble"] for row in silenced if row["silenced"]} == {"was silenced"}


def test_a_radio_link_through_wet_snow_is_told_as_a_band(here: InProcess) -> None:
    here.write(dataclasses.replace(here.place, media=("ble:",)))
    here.media["ble:"] = here.sim.medium
    found = {}
    for wet in ("0", "8"):
        status, out, _ = here.call("check", "--json", "--wet", wet, "--at", "6", "35")
        assert status == 0
        found[wet] = {row["name"]: row["link"] for row in json.loads(out)["devices"]}
    for name in here.targets:
        dry, wet_link = found["0"][name], found["8"][name]
        assert dry["low_db"] < dry["high_db"]
        assert wet_link["high_db"] < dry["high_db"] - 5
    assert found["0"]["1"]["high_db"] > found["0"]["3"]["high_db"]  # target 1 is the nearest
    assert "unheard" in " ".join(here.call("check", "--wet", "8")[1].split())


@pytest.mark.parametrize("words", [("--wet", "-1"), ("--density", "2000")])
def test_snow_that_cannot_be_is_refused(here: InProcess, words: tuple[str, str]) -> None:
    here.write(dataclasses.replace(here.place, media=("ble:",)))
    here.media["ble:"] = here.sim.medium
    status, _, err = here.call("check", *words)
    assert status == 1
    assert "Correct" in err
