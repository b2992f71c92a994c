"""The manual as it ships, made once."""

from __future__ import annotations

from diagnose.faces.commands.root import rowfault
from diagnose.faces.manual.catalogue import Catalogue
from diagnose.knowledge.base import load_knowledge
from diagnose.reasoning.loading import load_rules

KNOWLEDGE, RULES = load_knowledge(learned=False), load_rules()
CATALOGUE = Catalogue(KNOWLEDGE, RULES, rowfault)
