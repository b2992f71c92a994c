"""Puts the manual as Markdown into a wheel while hatch builds it; nothing else imports this."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface


class ManualHook(BuildHookInterface[Any]):  # type: ignore[misc, unused-ignore]
    """Writes the pages from the data beside the sources, into ``diagnose/data/manual``."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Add the folder to what the wheel takes in; an editable install needs none."""
        if version != "standard":
            return
        sys.path.insert(0, self.root)
        from diagnose.knowledge.base import load_knowledge
        from diagnose.rules.loading import load_rules
        from diagnose.ui.cli.root import rowfault
        from diagnose.ui.manual.catalogue import Catalogue
        from diagnose.ui.manual.site import markdown_files

        catalogue = Catalogue(load_knowledge(learned=False), load_rules(), rowfault)
        # Held here, so that it is there until the wheel is written.
        self.folder = tempfile.TemporaryDirectory()
        for name, text in markdown_files(catalogue).items():
            path = Path(self.folder.name) / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="\n")
        build_data["force_include"][self.folder.name] = "diagnose/data/manual"

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Clear up."""
        if version == "standard":
            self.folder.cleanup()
