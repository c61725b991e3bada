"""`beadline analyse`: a trace's results as JSON, without any database."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from tests import builders
from tests.sites import PLOVER

from beadline.cli import main
from beadline.kit import places

DROP = places.folder("seed_data") / "drop"
# inner diameter [cm] of the columns, seed_data/columns.csv; bed heights [cm] from seed_data/packings.toml
BEDS = {
    "knot_1_cycle_059.csv": ("35", "Knot 1"),
    "oystercatcher_1_cycle_187.csv": ("140", "Oystercatcher 1"),
    "whimbrel_2_cycle_039.txt": ("10", "Whimbrel 2"),
}


def height_cm(key: str) -> str:
    packings = tomllib.loads((places.folder("seed_data") / "packings.toml").read_text(encoding="utf-8"))
    return str(next(p["bed_height_mm"] for p in packings["packing"] if p["key"] == key) / 10)


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    try:
        code = main(arguments)
    except SystemExit as left:
        code = int(left.code or 0)
    said = capsys.readouterr()
    return code, said.out, said.err


@pytest.mark.parametrize("name", BEDS)
def test_a_shipped_file_gives_plausible_numbers_as_json(capsys: pytest.CaptureFixture[str], name: str):
    """Retention about one bed volume, HETP of some bead diameters: common practice, no source."""
    diameter, key = BEDS[name]
    arguments = ["analyse", str(DROP / name), "--diameter-cm", diameter, "--height-cm", height_cm(key)]
    code, out, err = run(capsys, *arguments)
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    usable = [one for one in found["transitions"] if one["usable"]]
    assert found["file"] == name
    assert len(usable) >= 2
    for one in usable:
        assert 0.5 < one["estimates"]["mean_cv"]["value"] < 1.6
        assert 5e-5 < one["estimates"]["hetp_moments"]["value"] < 2e-2
        assert one["estimates"]["mean_cv"]["u"] >= 0
        assert one["method"]


def test_every_shipped_file_is_tried():
    assert {path.name for path in DROP.iterdir()} == set(BEDS)


@pytest.fixture
def trace(tmp_path: Path) -> Path:
    file = builders.make_cycle_file(PLOVER, 1)
    path = tmp_path / file.filename
    path.write_bytes(file.content)
    return path


SIZE = ("--diameter-cm", "10", "--height-cm", "20")


def test_steps_can_be_named(capsys: pytest.CaptureFixture[str], trace: Path):
    code, out, _ = run(capsys, "analyse", str(trace), *SIZE, "--mark", "Rinse", "--hold-up-ml", "30")
    assert code == 0
    assert [one["name"] for one in json.loads(out)["transitions"]] == ["into Rinse"]


def test_a_step_that_is_not_there_is_told_with_what_to_do(capsys: pytest.CaptureFixture[str], trace: Path):
    code, out, _ = run(capsys, "analyse", str(trace), *SIZE, "--mark", "Elution")
    assert code == 0
    missing = json.loads(out)["transitions"][0]
    assert missing["usable"] is False
    assert "Elution" in missing["how_found"]
    assert missing["mend"]


def test_a_pulse_test_is_judged(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    file = builders.make_pulse_file(PLOVER)
    path = tmp_path / file.filename
    path.write_bytes(file.content)
    arguments = [str(path), *SIZE, "--pulse", "--injection-ml", "16", "--bead-um", "65", "--hold-up-ml", "30"]
    code, out, _ = run(capsys, "analyse", *arguments)
    assert code == 0
    found = json.loads(out)
    assert found["verdict"] == "pass"
    assert found["estimates"]["retention_cv"]["value"] == pytest.approx(0.92, abs=0.05)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--diameter-cm", "0", "--height-cm", "20"), "--diameter-cm must be above 0"),
        (("--diameter-cm", "nan", "--height-cm", "20"), "--diameter-cm must be above 0"),
        (("--diameter-cm", "10", "--height-cm", "-1"), "--height-cm must be above 0"),
        ((*SIZE, "--pulse"), "needs --injection-ml and --bead-um"),
    ],
)
def test_what_can_not_be_is_refused_with_1(
    capsys: pytest.CaptureFixture[str], trace: Path, arguments: tuple[str, ...], said: str
):
    code, out, err = run(capsys, "analyse", str(trace), *arguments)
    assert (code, out) == (1, "")
    assert said in err


def test_an_unreadable_file_is_refused_with_its_place(capsys: pytest.CaptureFixture[str], trace: Path):
    trace.write_bytes(trace.read_bytes().replace(b",3.7", b",high", 1))
    code, _, err = run(capsys, "analyse", str(trace), *SIZE)
    assert code == 1
    assert "line " in err
    assert "Traceback" not in err


def test_a_file_that_is_not_there_is_refused_with_1(capsys: pytest.CaptureFixture[str], tmp_path: Path):
    code, _, err = run(capsys, "analyse", str(tmp_path / "none.csv"), *SIZE)
    assert code == 1
    assert "none.csv" in err


@pytest.mark.parametrize(
    "arguments", [(), ("brew",), ("analyse",), ("analyse", "x.csv", "--height-cm", "tall")]
)
def test_a_wrong_call_ends_with_2_and_says_how_to(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
):
    code, _, err = run(capsys, *arguments)
    assert code == 2
    assert "usage: beadline" in err


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]):
    code, out, _ = run(capsys, "--help")
    assert code == 0
    for command in (
        "serve",
        "demo",
        "migrate",
        "add-person",
        "verify",
        "backup",
        "restore",
        "log-run",
        "analyse",
    ):
        assert command in out
