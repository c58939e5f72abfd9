"""`blindfield map`: which files, what is refused, and what is blind."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from blindfield.field.starter import starter_field_text
from blindfield.model.field import Georeference
from support.field_commands import FieldDesk


@pytest.fixture
def desk(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> FieldDesk:
    return FieldDesk(tmp_path, monkeypatch, capsys)


def rewrite(desk: FieldDesk, **changes: object) -> None:
    desk.place = replace(desk.place, **changes)  # type: ignore[arg-type]
    text = starter_field_text(desk.place)
    (desk.place.folder / "field.toml").write_text(text, encoding="utf-8")


def on_globe(desk: FieldDesk) -> None:
    rewrite(desk, georeference=Georeference(45.0, -30.0, 20.0))


ALL = {
    "map-for-digger.pdf",
    "map-for-digger.geojson",
    "map-for-searcher.pdf",
    "map-for-searcher.geojson",
    "sign.pdf",
    "staking-cards.pdf",
    "count-sheet.pdf",
}
OPEN_TO_ALL = {"map-for-searcher.pdf", "map-for-searcher.geojson", "sign.pdf", "count-sheet.pdf"}


def test_alone_it_writes_all_into_a_folder_and_lists_them(desk: FieldDesk) -> None:
    on_globe(desk)
    status, out, err = desk.call("map")
    assert (status, err) == (0, "")
    folder = desk.place.folder / "prints"
    assert {path.name for path in folder.iterdir()} == ALL
    assert all(str(folder / name) in out for name in ALL)


def test_while_a_run_is_open_only_what_is_blind_is_written(desk: FieldDesk) -> None:
    on_globe(desk)
    desk.open_run()
    status, _, err = desk.call("map")
    assert status == 1
    assert "not written: map-for-digger, staking-cards; a run is open" in err
    folder = desk.place.folder / "prints"
    assert {path.name for path in folder.iterdir()} == OPEN_TO_ALL
    for whom in ("digger", "cards"):
        status, _, err = desk.call("map", "--for", whom)
        assert status == 1
        assert "a run is open" in err
    status, _, _ = desk.call("map", "--for", "digger", "--out", str(folder / "x.geojson"))
    assert status == 1
    assert {path.name for path in folder.iterdir()} == OPEN_TO_ALL


def test_the_searchers_files_are_the_same_whatever_lies_in_the_field(
    desk: FieldDesk, tmp_path: Path
) -> None:
    on_globe(desk)

    def written(name: str) -> bytes:
        path = tmp_path / name
        assert desk.call("map", "--for", "searcher", "--out", str(path))[0] == 0
        return path.read_bytes()

    before = [written(name) for name in ("a.svg", "a.geojson")]
    desk.call("depth", "1", "0.33")
    moved = [replace(target, x_m=target.x_m + 3.0, depth_m=0.2) for target in desk.place.targets]
    rewrite(desk, targets=tuple(moved[:2]))
    assert [written(name) for name in ("b.svg", "b.geojson")] == before
    rewrite(desk, start_points=desk.place.start_points[:1])
    assert [written(name) for name in ("c.geojson",)] != before[1:]


def test_the_full_file_is_of_the_field_as_it_lies(desk: FieldDesk, tmp_path: Path) -> None:
    on_globe(desk)
    desk.call("depth", "1", "0.33")
    path = tmp_path / "full.geojson"
    status, out, _ = desk.call("map", "--for", "digger", "--out", str(path))
    assert (status, "for whoever digs" in out) == (0, True)
    found = json.loads(path.read_text())["features"]
    depths = [one["properties"].get("depth_m") for one in found]
    assert 0.33 in depths
    path.write_text("mine")
    status, _, err = desk.call("map", "--for", "digger", "--out", str(path))
    assert (status, "no map of ours" in err, path.read_text()) == (1, True, "mine")


def test_the_sign_takes_whom_to_call(desk: FieldDesk, tmp_path: Path) -> None:
    path = tmp_path / "s.svg"
    words = ("--call", "Ada, 555 0100", "--emergency", "555 0199")
    assert desk.call("map", "--for", "sign", "--out", str(path), *words)[0] == 0
    assert "Ada, 555 0100" in path.read_text()
    assert "555 0199" in path.read_text()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--for", "sign", "--out", "s.geojson"), r"ends in .pdf or .svg"),
        (("--for", "digger", "--out", "s.png"), r"ends in .pdf or .svg or .geojson"),
        (("--for", "sign", "--out", "nowhere/s.svg"), "cannot be written"),
        (("--for", "digger", "--out", "a.geojson"), "latitude_deg"),
        (("--for", "cards", "--decoys", "-1"), "0 to 50"),
        (("--for", "cards", "--decoys", "51"), "0 to 50"),
        (("--for", "cards", "--tape", "1"), "5 to 500 m"),
        (("--for", "cards", "--tape", "long"), "such as 1.2"),
        (("--for", "digger", "--band", "2", "1"), "lower depth first"),
        (("--call", "a", "--call", "b", "--call", "c", "--call", "d"), "at most 3 times"),
        (("--out", "field.toml"), "no folder"),
        (("--out", "all.pdf"), "--for: digger, searcher, sign, cards, count"),
    ],
)
def test_wrong_words_are_refused_and_write_nothing(
    desk: FieldDesk, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], says: str
) -> None:
    monkeypatch.chdir(desk.place.folder)
    before = {path.name for path in desk.place.folder.iterdir()}
    status, _, err = desk.call("map", *words)
    assert status == 1
    assert says in err
    after = {path.name for path in desk.place.folder.iterdir()}
    assert {name for name in after - before if not name.startswith("logbook")} == set()


def test_letters_that_the_type_lacks_are_told_of(desk: FieldDesk, tmp_path: Path) -> None:
    rewrite(desk, name="雪 & <Larch> $1$")
    status, out, _ = desk.call("map", "--for", "sign", "--out", str(tmp_path))
    assert (status, "stands for each of 雪." in out) == (0, True)
    assert (tmp_path / "sign.pdf").exists()
    status, out, _ = desk.call("map", "--for", "sign", "--out", str(tmp_path / "s.svg"))
    assert (status, "box" in out) == (0, False)
    assert "雪 &amp; &lt;Larch&gt; $1$." in (tmp_path / "s.svg").read_text(encoding="utf-8")


def test_a_field_without_targets_has_no_cards(desk: FieldDesk) -> None:
    rewrite(desk, targets=())
    status, _, err = desk.call("map", "--for", "cards")
    assert (status, "no targets yet" in err) == (1, True)
