"""Makes walking.bin and walking.json from two source distributions; run by hand, not by the tests.

    pip download --no-deps --no-binary :all: gaitmap==2.6.0 scikit-kinematics==0.10.4 -d FOLDER
    (unpack both there)
    python tests/references/make_walking.py FOLDER

Only accelerations are kept, as int16 mg in x, y, z order, little-endian, at the recorded rate.
Sources, licences and what each recording is: walking.txt beside this file.
"""

import csv
import json
import sys
from array import array
from collections.abc import Iterator
from pathlib import Path

STANDARD_GRAVITY_M_S2 = 9.80665
HERE = Path(__file__).parent
GAITMAP = "gaitmap-2.6.0/example_data"
KINEMATICS = "scikit_kinematics-0.10.4/tests/data"

Rows = Iterator[tuple[float, float, float]]


def gaitmap_rows(path: Path, foot: str | None) -> Rows:
    """Accelerations in g of a gaitmap table; `foot` picks a sensor of a two-sensor table."""
    with path.open(newline="") as file:
        lines = csv.reader(file)
        sensors = next(lines)
        axes = next(lines) if foot else sensors
        places = [
            next(
                i
                for i, axis in enumerate(axes)
                if axis == f"acc_{letter}" and (foot is None or sensors[i] == f"{foot}_sensor")
            )
            for letter in "xyz"
        ]
        for line in lines:
            x, y, z = (float(line[i]) / STANDARD_GRAVITY_M_S2 for i in places)
            yield x, y, z


def tabbed_rows(path: Path) -> Rows:
    """Accelerations in g of a tab-separated table in m/s2 (columns 1 to 3 after five headers)."""
    for line in path.read_text().splitlines()[5:]:
        x, y, z = (float(value) / STANDARD_GRAVITY_M_S2 for value in line.split("\t")[1:4])
        yield x, y, z


def chip_rows(path: Path) -> Rows:
    """Accelerations in g of a comma-separated table in g (columns 7 to 9 after one header)."""
    for line in path.read_text().splitlines()[1:]:
        x, y, z = (float(value) for value in line.split(",")[7:10])
        yield x, y, z


def recordings(folder: Path) -> Iterator[tuple[str, float, str, Rows]]:
    """(name, rate in Hz, source, rows) of every recording kept."""
    feet = (
        ("walking", "imu_sample.csv"),
        ("stairs up", "imu_sample_healthy_stair_up.csv"),
        ("stairs down", "imu_sample_healthy_stair_down.csv"),
    )
    for name, file in feet:
        for foot in ("left", "right"):
            rows = gaitmap_rows(folder / GAITMAP / file, foot)
            yield f"{name}, {foot} foot", 204.8, f"{GAITMAP}/{file}", rows
    file = "aligned_data_with_mag_l_walks.csv"
    yield (
        "walks in an L, foot", 400.0, f"{GAITMAP}/{file}",
        gaitmap_rows(folder / GAITMAP / file, None),
    )  # fmt: skip
    for leg in ("lower", "upper"):
        file = f"walking_xsens_{leg}Leg.txt"
        yield (
            f"walking, {leg} leg", 120.0, f"{KINEMATICS}/{file}",
            tabbed_rows(folder / KINEMATICS / file),
        )  # fmt: skip
    # 2715 rows between 90198 and 24773119 us on the sensor's own clock
    yield (
        "sensor handled", 110.0, f"{KINEMATICS}/data_yei.txt",
        chip_rows(folder / KINEMATICS / "data_yei.txt"),
    )  # fmt: skip


def main(folder: Path) -> None:
    data = array("h")
    index = []
    for name, rate_hz, source, rows in recordings(folder):
        first = len(data)
        for row in rows:
            data.extend(round(1000 * value) for value in row)
        count = (len(data) - first) // 3
        index.append({"name": name, "rate_hz": rate_hz, "frames": count, "source": source})
    if sys.byteorder == "big":
        data.byteswap()
    (HERE / "walking.bin").write_bytes(data.tobytes())
    (HERE / "walking.json").write_text(json.dumps(index, indent=1) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
