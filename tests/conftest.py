"""What holds for every test: no clock fails it, all is measured, and no document is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest
from hypothesis import settings
from jsonschema import Draft202012Validator
from jsonschema.protocols import Validator

from diagnose.reports.forms.base import Report
from diagnose.reports.schemas import DOCUMENTS, schema_of
from tests.pace import Pace

settings.register_profile("steady", deadline=None)
settings.load_profile("steady")


def pytest_configure(config: pytest.Config) -> None:
    """Measure doctests too, which stand outside this folder."""
    config.pluginmanager.register(Pace())


@pytest.fixture(scope="session", autouse=True)
def documents_follow_their_schema() -> Iterator[None]:
    """Every JSON document that any test has made is held against the schema of its kind."""
    plain = Report.plain

    def checked(self: Report) -> dict[str, Any]:
        data = plain(self)
        validator(self.form.split("/")[1]).validate(data)
        return data

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Report, "plain", checked)
        yield


@cache
def validator(name: str) -> Validator:
    """What checks documents of a kind."""
    assert name in DOCUMENTS
    return Draft202012Validator(schema_of(name))
