"""The rules that a prescription asks for, as far as the channels allow them.

In come a prescription and the names of the channels; out come rules, ready for the first batch. A
rule without its table, or without its channel, is left out.
"""

from __future__ import annotations

from collections.abc import Collection

from infantmon.events.apnea import ApneaRule
from infantmon.events.batch import Latencies
from infantmon.events.contact_loss import ContactLossRule, SignalUnusableRule
from infantmon.events.heart_rate_limits import HighHeartRateRule, LowHeartRateRule
from infantmon.events.no_heart_beat import NoHeartBeatRule
from infantmon.events.periodic_breathing import PeriodicBreathingRule
from infantmon.events.rule import Rule
from infantmon.model.prescription import Prescription


def rules_for(plan: Prescription, latencies: Latencies, roles: Collection[str]) -> list[Rule]:
    """Return the rules that a prescription asks for and the channels allow."""
    rules: list[Rule] = []
    if "impedance" in roles:
        rules += _breathing_rules(plan, latencies)
    if "ecg" in roles:
        rules += _heart_rules(plan, latencies)
    if plan.contact_loss is not None:
        rules.append(ContactLossRule(plan.contact_loss, latencies))
        rules.append(SignalUnusableRule(plan.contact_loss, latencies))
    return rules


def _breathing_rules(plan: Prescription, latencies: Latencies) -> list[Rule]:
    rules: list[Rule] = []
    if plan.apnea is not None:
        rules.append(ApneaRule(plan.apnea, latencies))
    if plan.periodic_breathing is not None:
        rules.append(PeriodicBreathingRule(plan.periodic_breathing, latencies))
    return rules


def _heart_rules(plan: Prescription, latencies: Latencies) -> list[Rule]:
    rules: list[Rule] = []
    if plan.low_heart_rate is not None:
        rules.append(LowHeartRateRule(plan.low_heart_rate, latencies))
    if plan.high_heart_rate is not None:
        rules.append(HighHeartRateRule(plan.high_heart_rate, latencies))
    if plan.no_heart_beat is not None:
        rules.append(NoHeartBeatRule(plan.no_heart_beat, latencies))
    return rules
