"""What is installed says its version and its license, from one source each."""

from __future__ import annotations

from email import message_from_string
from email.message import Message
from pathlib import Path
from zipfile import ZipFile

import pytest
from click.testing import CliRunner
from hatchling.builders.wheel import WheelBuilder

from diagnose import __version__
from diagnose.ui.cli.root import rowfault

ROOT = Path(__file__).parents[1]
LICENSE = (ROOT / "diagnose" / "LICENSE").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> ZipFile:
    """The wheel as it is built for everybody."""
    folder = tmp_path_factory.mktemp("wheel")
    (built,) = WheelBuilder(str(ROOT)).build(directory=str(folder), versions=["standard"])
    return ZipFile(built)


def metadata(wheel: ZipFile) -> Message:
    (name,) = (name for name in wheel.namelist() if name.endswith(".dist-info/METADATA"))
    return message_from_string(wheel.read(name).decode())


@pytest.mark.slow
def test_the_wheel_has_the_text_of_the_license_where_packaging_looks(wheel: ZipFile) -> None:
    told = metadata(wheel)
    assert told["License-Expression"] == "MIT"
    folder = f"rowfault-{__version__}.dist-info/licenses"
    assert wheel.read(f"{folder}/{told['License-File']}").decode() == LICENSE


@pytest.mark.slow
def test_the_wheel_and_the_command_say_the_same_version(wheel: ZipFile) -> None:
    said = CliRunner().invoke(rowfault, ["--version"]).output
    assert said == f"rowfault {metadata(wheel)['Version']}\n"


def test_the_license_grants_and_disclaims() -> None:
    assert LICENSE.startswith("MIT License")
    assert "Permission is hereby granted" in LICENSE
    assert 'PROVIDED "AS IS", WITHOUT WARRANTY' in LICENSE
