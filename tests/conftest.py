"""What holds for every test: nothing fails because the machine is busy, and all is measured."""

from __future__ import annotations

import pytest
from hypothesis import settings

from tests.pace import Pace

settings.register_profile("steady", deadline=None)
settings.load_profile("steady")


def pytest_configure(config: pytest.Config) -> None:
    """Measure doctests too, which stand outside this folder."""
    config.pluginmanager.register(Pace())
