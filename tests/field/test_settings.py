"""What field.toml may say, and that every mistake in it is pointed at by its line."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blindfield.field.settings import find_field, load_field
from blindfield.field.toml_lines import line_of, toml_lines
from blindfield.model.errors import ConfigError
from blindfield.model.field import (
    Field,
    Post,
    StartPoint,
    Target,
    TargetState,
)

GOOD = """\
[field]
name = "meadow"   # line 2
width_m = 40
media = ["sim:practice"]

[[target]]
name = "1"
device = "0000000000000001"
x_m = 10
y_m = 20.5
depth_m = 1

# a comment with [brackets] and "quotes
[[target]]
name = "2"
device = "00000000000000AB"
x_m = 40
y_m = 50
depth_m = 0.0
antenna_azimuth_deg = 360
antenna_tilt_deg = -90
state = "dug out"

[[post]]
name = "post"
device = "0000000000000003"

[[start]]
name = "hut"
x_m = 0
y_m = 3
"""


def write(folder: Path, text: str) -> Path:
    path = folder / "field.toml"
    path.write_bytes(text.encode("utf-8"))
    return path


def refusal(folder: Path, text: str) -> ConfigError:
    path = write(folder, text)
    with pytest.raises(ConfigError) as caught:
        load_field(path)
    error = caught.value
    assert str(path) in error.what
    assert error.remedy
    return error


def line_named(error: ConfigError) -> int:
    found = re.search(r"field\.toml, line (\d+)", error.what)
    assert found is not None, error.what
    return int(found[1])


def test_a_good_file_gives_the_field_it_describes(tmp_path: Path) -> None:
    assert load_field(write(tmp_path, GOOD)) == Field(
        name="meadow",
        folder=tmp_path,
        width_m=40.0,
        height_m=50.0,
        media=("sim:practice",),
        lease_s=None,
        key_path=tmp_path / "field.key",
        logbook_path=tmp_path / "logbook.sqlite",
        targets=(
            Target("1", bytes(7) + b"\x01", 10.0, 20.5, 1.0),
            Target("2", bytes(7) + b"\xab", 40.0, 50.0, 0.0, 360.0, -90.0, TargetState.DUG_OUT),
        ),
        posts=(Post("post", bytes(7) + b"\x03"),),
        start_points=(StartPoint("hut", 0.0, 3.0),),
    )


def test_a_field_without_targets_loads_so_that_devices_can_be_listed(tmp_path: Path) -> None:
    field = load_field(write(tmp_path, '[field]\nname = "new"\nmedia = ["serial:COM3"]\n'))
    assert field.targets == ()
    assert field.media == ("serial:COM3",)
    assert field.start_points == (StartPoint("start", 25.0, 0.0),)


@pytest.mark.parametrize("change", [("\n", "\r\n"), ("[field]", "\ufeff[field]")])
def test_line_ends_and_a_byte_order_mark_do_not_matter(
    tmp_path: Path, change: tuple[str, str]
) -> None:
    expected = load_field(write(tmp_path, GOOD))
    assert load_field(write(tmp_path, GOOD.replace(*change))) == expected


def test_paths_count_from_the_folder_of_the_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hut").mkdir()
    lines = 'key = "keys/a.key"\nlogbook = "/var/book.sqlite"\n'
    text = GOOD.replace('["sim:practice"]', '["serial:ports/1", "serial:/dev/x"]\n' + lines)
    (tmp_path / "hut" / "field.toml").write_text(text)
    field = load_field(Path("hut/field.toml"))
    assert field.folder == tmp_path / "hut"
    assert field.key_path == tmp_path / "hut" / "keys" / "a.key"
    assert field.logbook_path == Path("/var/book.sqlite")
    assert field.media == (f"serial:{tmp_path}/hut/ports/1", "serial:/dev/x")


@pytest.mark.parametrize("url", ["sim:", "serial:COM3", "bus:/dev/x", "ble:any"])
def test_known_media_are_accepted(tmp_path: Path, url: str) -> None:
    assert load_field(write(tmp_path, GOOD.replace("sim:practice", url))).media == (url,)


MISTAKES = [
    # what is written, instead of what, on which line, what is said, which remedy
    ("width_m = 40", "width = 40", 3, '"width" is not a known key', "width_m"),
    ("depth_m = 0.0", "Dept = 0.0", 19, "not a known key", "Did you mean depth_m"),
    ("depth_m = 0.0", "zzz = 0.0", 19, "not a known key", "Known keys: name, device"),
    ("[[post]]", "[[posts]]", 24, '"posts" is not known', "[[post]]"),
    ("[[post]]", "[[qqq]]", 24, '"qqq" is not known', "Known headers: [field]"),
    ("[[start]]", "[start]", 28, "must be a list of tables", "[[start]]"),
    ("[field]", "[[field]]", 1, "must be one table", "[field]"),
    ("[field]", "", 2, '"name" is not known here', "under the header [field]"),
    ("depth_m = 1\n", 'depth_m = "1"\n', 11, "must be a number", "without quotes"),
    ("depth_m = 1\n", "depth_m = true\n", 11, "must be a number", "0 to 3 m"),
    ("depth_m = 1\n", "depth_m = 3.01\n", 11, "3.01, outside 0 to 3 m", "0 to 3 m"),
    ("depth_m = 1\n", "depth_m = -0.1\n", 11, "outside 0 to 3 m", "0 to 3 m"),
    ("depth_m = 1\n", "depth_m = nan\n", 11, "outside 0 to 3 m", "0 to 3 m"),
    ("depth_m = 1\n", f"depth_m = 1{'0' * 400}\n", 11, "outside 0 to 3 m", "0 to 3 m"),
    ("depth_m = 1\n", "\n", 6, "[[target]] number 1: depth_m is missing", "0 to 3 m"),
    ("x_m = 40", "x_m = 40.1", 17, "[[target]] number 2: x_m", "0 to 40 m"),
    ("y_m = 3", "y_m = 51", 31, "outside 0 to 50 m", "0 to 50 m"),
    ("width_m = 40", "width_m = 1", 3, "outside 2 to 500 m", "2 to 500 m"),
    ("width_m = 40", "lease_s = 4.9", 3, "outside 5 to 1200 s", "5 to 1200 s"),
    ("width_m = 40", "lease_s = 1201", 3, "outside 5 to 1200 s", "5 to 1200 s"),
    ("= 360", "= 361", 20, "outside 0 to 360 deg", "0 to 360 deg"),
    ("= -90", "= -91", 21, "outside -90 to 90 deg", "-90 to 90 deg"),
    ('name = "2"', 'name = "1"', 15, 'name "1" is already taken on line 7', "its own name"),
    ('name = "post"', 'name = "1"', 25, "already taken on line 7", "its own name"),
    ('name = "2"', 'name = "POST"', 25, '"post" is already taken on line 15', "its own name"),
    ('name = "2"', "name = 2", 15, "name must be text", 'name = "1"'),
    ('name = "2"', 'name = ""', 15, "cannot be a name", "ordinary characters"),
    ('name = "2"', 'name = "\\u001b[2J"', 15, "\\x1b[2J", "ordinary characters"),
    ("000000AB", "00000001", 16, "already taken on line 8", "its own device"),
    ("000000AB", "00000G01", 16, "16 hex digits", "blindfield devices"),
    ("000000AB", "000001", 16, "16 hex digits", "blindfield devices"),
    ('device = "0000000000000001"', "", 6, "device is missing", "blindfield devices"),
    ('"dug out"', '"gone"', 22, 'state cannot be "gone"', '"in place", "dug out"'),
    ('"dug out"', "3", 22, "state cannot be 3", '"in place", "dug out"'),
    ('["sim:practice"]', '"sim:practice"', 4, "must be a list", "media = ["),
    ('["sim:practice"]', "[]", 4, "must be a list", "media = ["),
    ('["sim:practice"]', "[3]", 4, "must be a list", "media = ["),
    ("sim:practice", "http://x", 4, '"http://x" is no medium', "serial:"),
    ("sim:practice", "COM3", 4, '"COM3" is no medium', "serial:"),
    ("sim:practice", "serial:", 4, "names no port", "serial:/dev/ttyACM0"),
    ("sim:practice", "serial:///dev/x", 4, "names no port", "serial:/dev/ttyACM0"),
    ('["sim:practice"]', '["sim:a", "sim:a"]', 4, "twice", "Leave one"),
    ('media = ["sim:practice"]', "", 1, "media is missing", "media = ["),
    ("width_m = 40", "key = 3", 3, "key must be text", 'key = "field.key"'),
    ("width_m = 40", 'logbook = ""', 3, "names no file", "logbook.sqlite"),
    # malformed TOML: the line is tomllib's
    ("x_m = 10", "x_m = 10,5", 9, "line 9, column 9: this is not TOML", "point"),
    ("x_m = 10", "x_m = 10\nx_m = 11", 10, "this is not TOML", "each key once"),
    ('name = "hut"', 'name = "hut', 29, "this is not TOML", "quotes"),
    ("y_m = 3\n", "y_m = [", 31, "(the end): this is not TOML", "key = value"),
]


@pytest.mark.parametrize(("right", "wrong", "line", "what", "remedy"), MISTAKES)
def test_a_mistake_is_named_with_its_line_and_remedy(
    tmp_path: Path, right: str, wrong: str, line: int, what: str, remedy: str
) -> None:
    assert right in GOOD
    error = refusal(tmp_path, GOOD.replace(right, wrong, 1))
    assert line_named(error) == line, error.what
    assert what in error.what
    assert remedy in error.remedy
    assert error.what.isprintable()


def test_a_file_that_is_no_text_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "field.toml"
    path.write_bytes(b"[field]\nname = '\xff'\n")
    with pytest.raises(ConfigError, match=r"line 2: this is not UTF-8"):
        load_field(path)


def test_an_empty_an_endless_and_a_nested_file_are_refused(tmp_path: Path) -> None:
    assert "no [field] table" in refusal(tmp_path, "").what
    assert "too long" in refusal(tmp_path, "#" * 300_000).what
    assert "not TOML" in refusal(tmp_path, "a = " + "[" * 100_000).what


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "absent.toml", tmp_path):
        with pytest.raises(ConfigError, match="cannot be read"):
            load_field(path)


@given(st.integers(0, 2), st.floats(3.001, 1e9), st.integers(0, 5))
@settings(max_examples=40, deadline=None)
def test_the_line_is_that_of_the_wrong_target_among_several(
    tmp_path_factory: pytest.TempPathFactory, wrong: int, depth_m: float, blank_lines: int
) -> None:
    entry = '[[target]]\nname = "{0}"\ndevice = "{0:016x}"\nx_m = 1\ny_m = 1\ndepth_m = {1}\n'
    depths = [depth_m if index == wrong else 1.0 for index in range(3)]
    parts = [entry.format(index, value) for index, value in enumerate(depths)]
    text = ("\n" * blank_lines).join(['[field]\nname = "f"\nmedia = ["sim:"]\n', *parts])
    error = refusal(tmp_path_factory.getbasetemp(), text)
    assert line_named(error) == text[: text.index(f"depth_m = {depth_m}")].count("\n") + 1


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_a_damaged_file_loads_or_is_refused_and_nothing_else(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(GOOD)))
    length = data.draw(st.integers(0, 12))
    junk = data.draw(st.text("[]{}\"'=#.,\\\n0a \x00é", max_size=6))
    path = write(tmp_path_factory.getbasetemp(), GOOD[:at] + junk + GOOD[at + length :])
    try:
        field = load_field(path)
    except ConfigError as caught:
        error = caught
    else:
        assert all(0.0 <= target.depth_m <= 3.0 for target in field.targets)
        return
    assert line_named(error) <= GOOD.count("\n") + junk.count("\n") + 1
    assert error.remedy


def test_find_field_takes_a_file_a_folder_or_what_is_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = write(tmp_path, GOOD)
    other = tmp_path / "other.toml"
    other.write_text(GOOD)
    assert find_field(str(tmp_path)) == path
    assert find_field(str(other)) == other
    monkeypatch.chdir(tmp_path)
    assert find_field().resolve() == path


def test_find_field_says_how_to_make_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for explicit in (None, str(tmp_path), str(tmp_path / "no.toml")):
        with pytest.raises(ConfigError, match="blindfield rig"):
            find_field(explicit)


TRICKY = '''\
# [[target]] in a comment
top = """
[[target]]
name = "\\"""
"""
list = [ # a comment with ]
  "a]", '#',
  { b = 1 },
]
"odd key".x = 3

[[target]] # first
name = '[[target]]'
[target.inner]
a.b = 1

[[target]]
name = "2"
[[target.deep]]
z = 1
[[target.deep]]
z = 2
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ((), 1),
        (("top",), 2),
        (("list", 2, "b"), 6),
        (("odd key", "x"), 10),
        (("target", 0), 12),
        (("target", 0, "name"), 13),
        (("target", 0, "inner", "a", "b"), 15),
        (("target", 1), 17),
        (("target", 1, "name"), 18),
        (("target", 1, "deep", 0, "z"), 20),
        (("target", 1, "deep", 1, "z"), 22),
        (("target", 1, "absent"), 17),
        (("absent", 3, "x"), 1),
    ],
)
def test_the_locator_is_not_fooled(path: tuple[str | int, ...], line: int) -> None:
    tomllib.loads(TRICKY)
    assert line_of(toml_lines(TRICKY), path) == line


@pytest.mark.parametrize(
    ("line", "what", "remedy"),
    [
        ("area_m = [[0, 0], [40, 50], [40, 0], [0, 50]]", "side 1 and side 3 meet", "area_m = [["),
        ("area_m = [[0, 0], [40, 0]]", "three corners", "area_m = [["),
        ("area_m = [[0, 0], [60, 0], [0, 50]]", "lies outside the field", "x goes to 40 m"),
        ("area_m = [[0, 0], [40], [0, 50]]", "two numbers", "[x, y]"),
        ("latitude_deg = 45", "longitude_deg is missing", "-180 to 180 deg"),
        ("latitude_deg = 95", "outside -85 to 85 deg", "-85 to 85 deg"),
    ],
)
def test_a_wrong_ground_is_named(tmp_path: Path, line: str, what: str, remedy: str) -> None:
    with pytest.raises(ConfigError) as caught:
        load_field(write(tmp_path, GOOD.replace("width_m = 40", f"width_m = 40\n{line}")))
    assert what in caught.value.what
    assert remedy in caught.value.remedy
