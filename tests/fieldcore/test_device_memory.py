"""What a device needs: bytes of program, bytes of heap, and nothing new from step to step."""

from __future__ import annotations

from pathlib import Path

import pytest

from support.compiled import compile_core, import_bytes, run_device

PROGRAM_KIB = 30
IMPORT_KIB = 55


@pytest.fixture(scope="module")
def core(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    folder = tmp_path_factory.mktemp("core")
    return folder, compile_core(folder)


def test_the_compiled_core_fits_its_budget(core: tuple[Path, int]) -> None:
    _, program_bytes = core
    assert 5 * 1024 < program_bytes <= PROGRAM_KIB * 1024


def test_the_imported_core_fits_its_budget(core: tuple[Path, int]) -> None:
    folder, _ = core
    assert 5 * 1024 < import_bytes(folder) <= IMPORT_KIB * 1024


def test_a_device_lives_through_an_hour_in_96_kib_of_heap(core: tuple[Path, int]) -> None:
    """Eight sheets loaded, three runs of 20 min, a host that asks, a journal of 500 records."""
    said = run_device(core[0], "hour")
    assert said["pulses"] == 3 * 1200
    assert said["clock_s"] >= 3600
    assert said["records"] == said["last_seq"] >= 500


def test_sending_waiting_and_feeling_nothing_allocate_nothing(core: tuple[Path, int]) -> None:
    said = run_device(core[0], "locked")
    assert said["allocated"] == 0  # the lock does refuse
    assert said["idle"] >= 12  # one step for each block at least
    assert said["armed"] >= 5
    assert said["pulses"] in (30, 31)  # both ends of 30 s may have one
    assert said["sending"] >= 75 + said["pulses"] // 2
