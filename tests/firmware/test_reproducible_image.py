"""The prebuilt image is what the sources give, byte for byte, wherever they are built."""

import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PREBUILT = ROOT / "rig" / "board" / "firmware" / "bladerig-atmega328p.hex"


def build(project: Path, build_dir: Path) -> bytes:
    subprocess.run(
        [
            "make",
            "-s",
            "-C",
            project / "firmware",
            f"BUILD={build_dir}",
            f"{build_dir}/bladerig.hex",
        ],
        check=True,
    )
    return (build_dir / "bladerig.hex").read_bytes()


def test_the_prebuilt_image_is_what_the_sources_give(tmp_path: Path) -> None:
    image = build(ROOT, tmp_path / "build")
    assert image == PREBUILT.read_bytes(), "run: make -C firmware install"


def test_the_image_does_not_depend_on_where_it_is_built(tmp_path: Path) -> None:
    elsewhere = tmp_path / "a folder with another name"
    shutil.copytree(
        ROOT / "firmware", elsewhere / "firmware", ignore=shutil.ignore_patterns("build")
    )
    shutil.copytree(ROOT / "rig" / "board", elsewhere / "rig" / "board")
    assert build(elsewhere, tmp_path / "other") == PREBUILT.read_bytes()
