"""`warmstack schema`: what answer.json holds, for programs that read it."""

import json
from typing import Any


def schema() -> None:
    """Print the JSON Schema of answer.json: every key, its type, and what the blocks mean."""
    print(json.dumps(answer_schema(), indent=1))


def answer_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of answer.json, every key of which is always written."""
    from thermo.answer import Answer
    from thermo.answer.schema import SCHEMA

    made = Answer.model_json_schema(by_alias=True, mode="serialization")
    for block in (made, *made["$defs"].values()):
        block["required"] = list(block["properties"])
        del block["additionalProperties"]  # a reader written today takes the keys of tomorrow
        for key in block["properties"].values():
            key.pop("title", None)  # the key again, its unit in wrong letters
    made["properties"]["schema"] = {"const": SCHEMA, "type": "integer"}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **made,
        "title": f"answer.json of warmstack, schema {SCHEMA}",
        "description": "The answer to a case. The layout is stable: `schema` rises when a key "
        "changes its meaning or goes; new keys may come. Units are in the keys; null where a "
        "quantity does not apply or is not known.",
    }
