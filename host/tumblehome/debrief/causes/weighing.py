"""All rules asked, and what follows from something else left out."""

from collections.abc import Callable, Iterator
from dataclasses import replace

from seatrial.plan import Plan
from tumblehome.debrief.causes import camera, clock, controller, pressure, records, release, signs, site, supply
from tumblehome.debrief.causes.findings import CERTAINTIES, LIKELY, Finding
from tumblehome.debrief.causes.past import Past
from tumblehome.debrief.log import Log

Rule = Callable[[Past], Iterator[Finding]]
RULES: tuple[Rule, ...] = (*supply.RULES, *controller.RULES, *pressure.RULES, *signs.RULES, *camera.RULES,
                           *release.RULES, *site.RULES, *clock.RULES, *records.RULES)


def findings(log: Log, plan: Plan) -> list[Finding]:
    """Named causes of what was not as planned, the main one first; empty for a sound dive."""
    return weighed(Past(log, plan))


def weighed(past: Past) -> list[Finding]:
    """The findings of this dive, those left out that another one covers."""
    if not past.count:
        return []
    found = [finding for rule in RULES for finding in rule(past)]
    found.sort(key=lambda finding: (-finding.weight, CERTAINTIES.index(finding.certainty)))
    kept: list[Finding] = []
    covered: set[str] = set()
    for finding in found:
        if finding.kinds and all(kind in covered for kind in finding.kinds):
            continue
        if any(finding.kinds == other.kinds for other in kept):
            continue
        kept.append(finding)
        covered.update(finding.covers)
        covered.difference_update(kind for one in kept for kind in one.kinds)
    return [_narrowed(one, kept) for one in kept]


def _narrowed(finding: Finding, others: list[Finding]) -> Finding:
    """One cause that explains two signs is likelier than two: of several kinds, those that others name as well."""
    kinds = finding.kinds
    for other in others:
        common = tuple(kind for kind in kinds if kind in other.kinds)
        if common and other is not finding and len(other.kinds) <= len(finding.kinds):  # a wide group says little
            kinds = common
    if kinds == finding.kinds:
        return finding
    said = "%s Of what does that, %s would explain other signs of this dive as well." % (
        finding.sentence, " or ".join(kinds))
    return replace(finding, kinds=kinds, certainty=max(finding.certainty, LIKELY, key=CERTAINTIES.index), sentence=said)
