"""The manual as it ships, made once."""

from __future__ import annotations

from diagnose.knowledge.base import load_knowledge
from diagnose.rules.loading import load_rules
from diagnose.ui.cli.root import rowfault
from diagnose.ui.manual.catalogue import Catalogue

KNOWLEDGE, RULES = load_knowledge(learned=False), load_rules()
CATALOGUE = Catalogue(KNOWLEDGE, RULES, rowfault)
