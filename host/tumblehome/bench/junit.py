"""A sequence that was run, as JUnit XML: a suite, and a case a step, for whatever collects the results of tests."""

from junitparser import Error, Failure, JUnitXml, Skipped, TestCase, TestSuite

from tumblehome.bench.running import FAILED, GONE, NOT_RUN, STOPPED, Outcome


def junit(outcomes: list[Outcome]) -> bytes:
    """The XML of these. A step that failed is a failure, one at which the controller went away, or the
    keyboard ended it, is an error."""
    xml = JUnitXml(name="tumblehome bench run")
    for outcome in outcomes:
        xml.add_testsuite(_suite(outcome))
    xml.update_statistics()
    return xml.tostring()


def _suite(outcome: Outcome) -> TestSuite:
    suite = TestSuite(_plain(outcome.name))
    suite.timestamp = outcome.began_utc.removesuffix("Z")  # the form has no room for it; it is UTC
    for name, value in (("about", outcome.about), ("on", outcome.on), ("controller", outcome.where),
                        ("tumblehome", outcome.version)):
        suite.add_property(name, _plain(value))
    for step in outcome.steps:
        case = TestCase("%03d %s" % (step.number, _plain(step.what)), "tumblehome.bench." + outcome.name,
                        max(0.0, (step.to_s or 0.0) - (step.from_s or 0.0)))
        if step.outcome == FAILED:
            case.result = [Failure(_plain(step.seen), "unmet")]
        elif step.outcome in (GONE, STOPPED):
            case.result = [Error(_plain(step.seen), step.outcome)]
        elif step.outcome == NOT_RUN:
            case.result = [Skipped("a step before it failed")]
        elif step.seen:
            case.system_out = _plain(step.seen)
        suite.add_testcase(case)
    return suite


def _plain(text: str) -> str:
    """XML 1.0 allows no control characters, however they are written."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)
