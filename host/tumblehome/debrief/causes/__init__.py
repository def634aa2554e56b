"""Why: what happened in a dive, and what named causes it may have had, from its journal and its plan alone."""

from tumblehome.debrief.causes.chain import chain
from tumblehome.debrief.causes.findings import ESTABLISHED, LIKELY, OPEN, Finding, Link
from tumblehome.debrief.causes.weighing import findings

__all__ = ["ESTABLISHED", "LIKELY", "OPEN", "Finding", "Link", "chain", "findings"]
