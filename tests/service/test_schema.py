"""The published schema: it fits the output, and later versions of it stay readable for those who know 1.0."""

import copy
import json
from pathlib import Path

import jsonschema
import pytest

from service.contract import document, json_schema, to_json
from service.look import Request, look
from tests.service.chest import ChestEngine, chest_photo
from vision import registry

SNAPSHOT = Path(__file__).parents[2] / "docs" / "schema-1.0.json"


@pytest.fixture(scope="module")
def schema():
    return json_schema()


@pytest.fixture(scope="module")
def snapshot():
    return json.loads(SNAPSHOT.read_text("utf-8"))


def lost(old, new, old_root, new_root, where="document"):
    """What a reader of `old` would miss in `new`: vanished keys, names or types, and keys no longer promised."""
    def open_(node, root):
        while "$ref" in node:
            node = root["$defs"][node["$ref"].rsplit("/", 1)[1]]
        return node

    old, new = open_(old, old_root), open_(new, new_root)
    if "anyOf" in old:
        kinds = new.get("anyOf", [new])
        faults = [f"{where}: may no longer be {o.get('type', o.get('$ref'))}" for o in old["anyOf"]
                  if not any(not lost(o, n, old_root, new_root, where) for n in kinds)]
        return faults
    if "anyOf" in new:
        return [] if any(not lost(old, n, old_root, new_root, where) for n in new["anyOf"]) else [f"{where}: type changed"]
    faults = []
    if old.get("type") != new.get("type") and not (old.get("type") == "integer" and new.get("type") == "number"):
        return [f"{where}: type {old.get('type')} became {new.get('type')}"]
    faults += [f"{where}: name {n} vanished" for n in old.get("enum", []) if n not in new.get("enum", [])]
    if "enum" in new and "enum" not in old:
        faults.append(f"{where}: free text became a list of names")
    for key, tighter in (("minimum", max), ("minItems", max), ("minLength", max), ("exclusiveMinimum", max),
                         ("maximum", min), ("maxItems", min), ("maxLength", min), ("exclusiveMaximum", min)):
        if key in new and (key not in old or (tighter(old[key], new[key]) == new[key] != old[key])):
            faults.append(f"{where}: {key} narrowed")
    if "pattern" in new and new["pattern"] != old.get("pattern"):
        faults.append(f"{where}: pattern changed")
    for key, node in old.get("properties", {}).items():
        if key not in new.get("properties", {}):
            faults.append(f"{where}.{key}: vanished")
        else:
            faults += lost(node, new["properties"][key], old_root, new_root, f"{where}.{key}")
    faults += [f"{where}.{k}: no longer promised" for k in old.get("required", []) if k not in new.get("required", [])]
    if new.get("additionalProperties") is False:
        faults.append(f"{where}: closed to new keys")
    if "items" in old:
        faults += lost(old["items"], new.get("items", {}), old_root, new_root, f"{where}[]")
    return faults


def test_the_schema_is_a_schema(schema):
    jsonschema.Draft202012Validator.check_schema(schema)


def test_output_fits_the_schema_and_the_snapshot(schema, snapshot, tmp_path):
    file = str(chest_photo(tmp_path / "a.jpg"))
    raw = json.loads(to_json(document(look(Request((file,)), ChestEngine()).assessment)))
    for s in (schema, snapshot):
        jsonschema.Draft202012Validator(s).validate(raw)
    raw["parts"][0]["role"] = "attic"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(raw)


def test_every_name_comes_from_the_registry_with_its_sentence(schema):
    for title, entries in (
        ("FaceName", registry.FACES), ("CoreName", registry.CORES), ("SubstrateName", registry.SUBSTRATES),
        ("ViewName", registry.VIEWS), ("RoleName", registry.ROLES), ("ProblemName", registry.PROBLEMS),
        ("CueName", registry.CUES), ("FindingName", registry.FINDING_KINDS), ("ReasonName", registry.REASONS),
        ("AskName", registry.ASKS),
    ):
        node = schema["$defs"][title]
        assert node["enum"] == list(entries)
        assert all(f"{k}: {text}" in node["description"] for k, text in entries.items())


def test_nothing_of_1_0_is_lost(schema, snapshot):
    assert lost(snapshot, schema, snapshot, schema) == []


def _drop(s):
    del s["properties"]["parts"]


def _rename(s):
    s["$defs"]["FaceName"]["enum"].remove("veneer")


def _retype(s):
    s["$defs"]["Photo"]["properties"]["width"] = {"type": "string"}


def _unpromise(s):
    s["$defs"]["Panel"]["required"].remove("outline")


def _narrow(s):
    s["$defs"]["Photo"]["properties"]["width"]["exclusiveMinimum"] = 100


def _not_null(s):
    s["$defs"]["Panel"]["properties"]["reason"] = {"$ref": "#/$defs/ReasonName"}


def _close(s):
    s["$defs"]["Part"]["additionalProperties"] = False


@pytest.mark.parametrize("harm", [_drop, _rename, _retype, _unpromise, _narrow, _not_null, _close])
def test_the_comparison_sees_every_kind_of_loss(snapshot, harm):
    later = copy.deepcopy(snapshot)
    harm(later)
    assert lost(snapshot, later, snapshot, later)


def test_the_comparison_allows_growth(snapshot):
    later = copy.deepcopy(snapshot)
    later["properties"]["later"] = {"type": "string"}
    later["$defs"]["CueName"]["enum"].append("smell")
    later["$defs"]["Photo"]["properties"]["width"] = {"anyOf": [{"type": "integer", "exclusiveMinimum": 0}, {"type": "null"}]}
    assert lost(snapshot, later, snapshot, later) == []
