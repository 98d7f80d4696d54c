"""The published JSON Schema holds for real reviews, and refuses what is none."""

import copy
import json

import pytest
from invented_review import invented_review
from jsonschema import Draft202012Validator
from recorded_review import recorded_review

from infantmon.demo import demo_plan
from infantmon.model.channel import Channel
from infantmon.model.prescription import KINDS, Prescription
from infantmon.model.recording import Recording
from infantmon.recorded.decisions import DECISIONS
from infantmon.report.export import FORMAT, events_as_json
from infantmon.report.schema import review_schema
from infantmon.reviewing import review
from infantmon.simulate import demo_scenario, simulate_night


@pytest.fixture(scope="module")
def validator():
    Draft202012Validator.check_schema(review_schema())
    return Draft202012Validator(review_schema())


@pytest.fixture(scope="module")
def told():
    reviewed = review(simulate_night(demo_scenario(), 2).recording, demo_plan())
    return json.loads(events_as_json(reviewed))


def test_a_real_review_keeps_to_it(validator, told):
    validator.validate(told)
    assert len(told["events"]) > 3
    assert review_schema()["properties"]["format"]["const"] == FORMAT


@pytest.mark.parametrize("roles", [("ecg", "impedance"), ("ecg",), ("impedance",)])
def test_an_invented_review_keeps_to_it(validator, roles):
    validator.validate(json.loads(events_as_json(invented_review(roles=roles))))


def test_a_recording_of_one_channel_without_an_event_keeps_to_it(validator):
    recording = Recording({"impedance": Channel([1.0, 2.0] * 400, 62.5)})
    plan = Prescription(apnea={"limit_s": 20}, infant={"label": "invented"})
    validator.validate(json.loads(events_as_json(review(recording, plan))))


def test_decisions_of_readers_are_in_it(validator):
    """The words that a reader can choose are those of the published schema."""
    told = json.loads(events_as_json(recorded_review()))
    validator.validate(told)
    assert [made["by"] for made in told["decisions"]] == ["reader A", "reader B", "reader A"]
    assert told["decisions"][0]["decided_at_utc"]
    published = review_schema()["$defs"]["Decision"]["properties"]
    assert published["decision"]["enum"] == list(DECISIONS)
    older = {name: value for name, value in told.items() if name != "decisions"}
    validator.validate(older)


def test_the_prescription_in_it_is_the_prescription():
    """Whoever changes the prescription changes the published schema too."""
    own = Prescription.model_json_schema(mode="serialization")
    parts = own.pop("$defs", {})
    published = review_schema()["$defs"]
    assert published["Prescription"] == own
    assert {name: published[name] for name in parts} == parts
    assert published["Event"]["properties"]["kind"]["enum"] == list(KINDS)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda t: t.pop("notice"),
        lambda t: t.update(more=1),
        lambda t: t["events"][0].update(kind="sneeze"),
        lambda t: t["events"][0].update(judgement="certain"),
        lambda t: t["events"][0].update(onset_s="soon"),
        lambda t: t["events"][0].pop("assessable"),
        lambda t: t["recording"]["channels"].update(nose={}),
        lambda t: t["recording"]["channels"]["ecg"].update(rate_hz=0),
        lambda t: t["prescription"].update(sneezes={}),
    ],
)
def test_what_is_no_review_is_refused(validator, told, spoil):
    spoilt = copy.deepcopy(told)
    spoil(spoilt)
    assert not validator.is_valid(spoilt)
