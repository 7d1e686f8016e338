"""The schema of answer.json: valid JSON that an answer keeps, with every stored key."""

import copy
import json
import tomllib
from pathlib import Path

import pytest

from thermo.answer import Answer
from thermo.answer.schema import SCHEMA

KEYS = Path(__file__).parents[1] / "answer" / "answer_keys.toml"
TYPES = {
    "object": dict,
    "array": list,
    "string": str,
    "integer": int,
    "number": (int, float),
    "boolean": bool,
    "null": type(None),
}
SILENT = {"description", "title", "default", "$defs", "$schema"}  # say nothing about a value


@pytest.fixture
def schema(warmstack):
    code, out, err = warmstack("schema")
    assert (code, err) == (0, "")
    return json.loads(out)


@pytest.fixture
def data(scanned):
    return json.loads(scanned.answer.to_json())


def faults(value, rule, defs, path="answer"):
    """Where a value breaks a rule; only the words of JSON Schema that are used here are known."""
    words = set(rule) - SILENT
    if "$ref" in rule:
        assert words == {"$ref"}
        return faults(value, defs[rule["$ref"].removeprefix("#/$defs/")], defs, path)
    if "anyOf" in rule:
        assert words == {"anyOf"}
        each = [faults(value, choice, defs, path) for choice in rule["anyOf"]]
        return [] if [] in each else each[0]
    known = {"type", "const", "enum", "properties", "required", "additionalProperties"}
    assert words <= known | {"items", "prefixItems", "minItems", "maxItems"}
    kind = TYPES[rule["type"]]
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        return [f"{path}: {value!r} is no {rule['type']}"]
    found = []
    if "const" in rule and value != rule["const"]:
        found.append(f"{path}: {value!r} is not {rule['const']!r}")
    if "enum" in rule and value not in rule["enum"]:
        found.append(f"{path}: {value!r} is none of {rule['enum']}")
    if isinstance(value, dict):
        found += [f"{path}: no {key}" for key in rule.get("required", ()) if key not in value]
        rules, more = rule.get("properties", {}), rule.get("additionalProperties")
        for key, inner in value.items():
            if (own := rules.get(key, more)) is not None:
                found += faults(inner, own, defs, f"{path}.{key}")
    if isinstance(value, list):
        fixed = rule.get("prefixItems", ())
        if not rule.get("minItems", 0) <= len(value) <= rule.get("maxItems", len(value)):
            found.append(f"{path}: {len(value)} elements")
        for i, inner in enumerate(value):
            own = fixed[i] if i < len(fixed) else rule["items"]
            found += faults(inner, own, defs, f"{path}.{i}")
    return found


def test_an_answer_keeps_the_schema(schema, data):
    assert faults(data, schema, schema["$defs"]) == []


@pytest.mark.parametrize("block", ["photons", "cycle", "speed", "resist_in_time", "hand_check"])
def test_a_block_that_does_not_apply_may_be_null(schema, data, block):
    data[block] = None
    assert faults(data, schema, schema["$defs"]) == []


BREAKS = {
    "no dose": lambda d: d.pop("dose"),
    "no schema": lambda d: d.pop("schema"),
    "no note": lambda d: d["limits"][0].pop("note"),
    "text for a number": lambda d: d["dose"].update(time_s="2 h"),
    "null for a number": lambda d: d["beam"].update(on_mask_W_per_cm=None),
    "truth for a number": lambda d: d["checks"].update(residual=True),
    "another schema": lambda d: d.update(schema=SCHEMA + 1),
    "unknown word": lambda d: d["verdict"].update(word="perhaps"),
    "two places of three": lambda d: d["temperature"]["resist"].update(where_mm=[1.0, 2.0]),
    "table for a list": lambda d: d.update(path={}),
    "text among heat": lambda d: d["heat_W"].update(more="x"),
}


@pytest.mark.parametrize("kind", BREAKS)
def test_an_answer_that_is_broken_does_not_keep_it(schema, data, kind):
    BREAKS[kind](data)
    assert len(faults(data, schema, schema["$defs"])) == 1


def test_a_key_of_a_later_version_is_no_fault(schema, data):
    data["dose"]["later_J"] = 1.0
    assert faults(data, schema, schema["$defs"]) == []


def block_of(schema, rule):
    """The block a rule points at: its own, one of a list or table, or one that may be null."""
    for word in ("items", "additionalProperties"):
        rule = rule.get(word, rule)
    rule = next((r for r in rule.get("anyOf", ()) if "$ref" in r), rule)
    return schema["$defs"][rule["$ref"].removeprefix("#/$defs/")]


def test_every_stored_key_is_named_and_required_and_no_other(schema):
    stored = tomllib.loads(KEYS.read_text(encoding="utf-8"))
    parts, top = stored.pop("parts"), stored.pop("answer")
    inner = {"depth": "Placement", "uniform_offset": "UniformOffset", "solve": "SolveBlock"}
    inner |= {"photons": "PhotonBlock", "photon_line": "PhotonLine"}
    assert list(schema["properties"]) == schema["required"] == top
    for name, keys in {**stored, **parts}.items():
        own = schema["$defs"][inner[name]] if name in inner else None
        own = own or block_of(schema, schema["properties"][name])
        assert list(own["properties"]) == own["required"] == keys, name


def test_it_says_what_it_is_of_that_it_is_stable_and_where_the_units_are(schema):
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert schema["title"] == f"answer.json of warmstack, schema {SCHEMA}"
    assert "stable" in schema["description"]
    assert "Units are in the keys" in schema["description"]
    assert schema["properties"]["schema"]["const"] == SCHEMA


def test_no_title_repeats_a_key_with_its_unit_in_wrong_letters(schema):
    blocks = [schema, *schema["$defs"].values()]
    assert not [key for b in blocks for key in b["properties"].values() if "title" in key]
    assert "title" in schema["$defs"]["CaseBlock"]["properties"]  # the key itself stays


def test_making_it_leaves_the_model_as_it_was(schema, scanned):
    before = copy.deepcopy(Answer.model_json_schema())
    assert "title" in before["$defs"]["DoseBlock"]["properties"]["time_s"]
    assert Answer.model_validate_json(scanned.answer.to_json()) == scanned.answer
