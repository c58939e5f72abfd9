"""The file that a new field begins with: it teaches, and reads back as what it was made from."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from blindfield.field.settings import load_field
from blindfield.field.starter import starter_field_text
from blindfield.model.field import (
    Field,
    Georeference,
    KeepOut,
    Post,
    StartPoint,
    Target,
    TargetState,
)

EXAMPLE = Path(__file__).parents[2] / "host" / "examples" / "field.toml"


def write(folder: Path, text: str) -> Path:
    path = folder / "field.toml"
    path.write_bytes(text.encode("utf-8"))
    return path


def test_the_example_is_what_a_starter_file_would_say() -> None:
    field = load_field(EXAMPLE)
    assert len(field.targets) >= 3
    assert starter_field_text(field) == EXAMPLE.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "caution",
    ["never rescue equipment", "outside avalanche terrain", "radio authority", "20 cm", "count"],
)
def test_a_starter_file_carries_the_cautions(caution: str) -> None:
    assert caution in EXAMPLE.read_text(encoding="utf-8").replace("\n#", "").lower()


_names = st.text(st.characters(codec="utf-8"), min_size=1, max_size=32).filter(
    lambda name: name.isprintable() and name == name.strip()
)
_device_ids = st.binary(min_size=8, max_size=8)
_sides = st.floats(2.0, 500.0)


@st.composite
def _fields(draw: st.DrawFn, folder: Path) -> Field:
    width_m, height_m = draw(_sides), draw(_sides)
    names = draw(st.lists(_names, min_size=4, max_size=4, unique_by=str.casefold))
    device_ids = draw(st.lists(_device_ids, min_size=4, max_size=4, unique=True))
    xs, ys = st.floats(0.0, width_m), st.floats(0.0, height_m)
    targets = [
        Target(
            *(name, device_id, draw(xs), draw(ys), draw(st.floats(0.0, 3.0))),
            antenna_azimuth_deg=draw(st.none() | st.floats(0.0, 360.0)),
            antenna_tilt_deg=draw(st.none() | st.floats(-90.0, 90.0)),
            state=draw(st.sampled_from(TargetState)),
        )
        for name, device_id in zip(names[:3], device_ids[:3], strict=True)
    ]
    ports = [f"serial:{folder}/ports/1", "serial:COM3", "sim:", "ble:x", f"serial:{folder}/p"]
    return Field(
        name=draw(_names),
        folder=folder,
        width_m=width_m,
        height_m=height_m,
        media=tuple(draw(st.lists(st.sampled_from(ports), min_size=1, unique=True))),
        lease_s=draw(st.none() | st.floats(5.0, 1200.0)),
        key_path=folder / draw(st.sampled_from(["field.key", "a/b c.key", "/x/é.key"])),
        logbook_path=folder / "logbook.sqlite",
        targets=tuple(targets[: draw(st.integers(0, 3))]),
        posts=draw(st.sampled_from([(), (Post(names[3], device_ids[3]),)])),
        start_points=(StartPoint(draw(_names), draw(xs), draw(ys)),),
        area_m=draw(st.sampled_from([(), ((0.0, 0.0), (width_m, 0.5), (1.25, height_m))])),
        keep_outs=draw(
            st.sampled_from([(), (KeepOut("pond", ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0))),)])
        ),
        georeference=draw(st.sampled_from([None, Georeference(45.5, -30.25, 12.0)])),
    )


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_a_starter_file_reads_back_as_its_field(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    folder = tmp_path_factory.getbasetemp()
    field = data.draw(_fields(folder))
    text = starter_field_text(field)
    assume("\r" not in text)
    assert load_field(write(folder, text)) == field


def test_ports_inside_the_folder_are_written_so_that_it_can_be_moved(tmp_path: Path) -> None:
    field = load_field(write(tmp_path, '[field]\nname = "a"\nmedia = ["serial:ports/1"]\n'))
    text = starter_field_text(field)
    assert '"serial:ports/1"' in text
    assert str(tmp_path) not in text
