"""Gates and records as JUnit XML, the form that build servers read."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

from infantmon.report.cautions import NOTICE
from infantmon.scorecard.card import Card
from infantmon.scorecard.gates import Verdict
from infantmon.scoring.tallies import percent


def as_junit(cards: Sequence[Card], verdicts: Sequence[Verdict]) -> str:
    """Return one test case a gate, and one a record (failed where the detector failed)."""
    suites = ET.Element("testsuites", name="infantmon score")
    _gates(suites, verdicts)
    for card in cards:
        failed = [score for score in card.records if score.failed]
        suite = _suite(suites, card.title, len(card.records), len(failed))
        for score in card.records:
            case = ET.SubElement(suite, "testcase", classname=card.title, name=score.record)
            tally = score.tally
            told = ET.SubElement(case, "system-out")
            told.text = (
                f"TP {tally.true_positives}, FN {tally.false_negatives}, FP "
                f"{tally.false_positives}, Se {percent(tally.sensitivity)}, PPV "
                f"{percent(tally.positive_predictivity)} %"
            )
            if score.failed:
                ET.SubElement(case, "error", message="; ".join(score.notes))
    ET.indent(suites)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(suites, encoding="unicode")


def _gates(suites: ET.Element, verdicts: Sequence[Verdict]) -> None:
    if not verdicts:
        return
    missed = [verdict for verdict in verdicts if not verdict.holds]
    suite = _suite(suites, "gates", len(verdicts), len(missed), kind="failures")
    for verdict in verdicts:
        name = f"{verdict.gate}, {verdict.scope}"
        case = ET.SubElement(suite, "testcase", classname=verdict.card, name=name)
        if not verdict.holds:
            ET.SubElement(case, "failure", message=verdict.words)


def _suite(
    suites: ET.Element, name: str, tests: int, bad: int, *, kind: str = "errors"
) -> ET.Element:
    told = {"name": name, "tests": str(tests), "failures": "0", "errors": "0"} | {kind: str(bad)}
    suite = ET.SubElement(suites, "testsuite", told)
    properties = ET.SubElement(suite, "properties")
    ET.SubElement(properties, "property", name="notice", value=NOTICE)
    return suite
