"""Feature schema: the hash follows names, groups, units, order and version, and nothing else."""

import math

import pytest

from vision.features import Feature, schema_hash, vector
from vision.measure import SCHEMA_VERSION, feature_schema, schema

A = Feature("a", "colour", "1", "First.")
B = Feature("b", "gloss", "px", "Second.")


def test_hash_changes_with_what_matters():
    base = schema_hash([A, B], 1)
    assert base == schema_hash([Feature("a", "colour", "1", "Other words."), B], 1)
    others = [schema_hash([B, A], 1), schema_hash([A, B], 2), schema_hash([A], 1),
              schema_hash([Feature("a", "gloss", "1", "First."), B], 1)]
    assert len({base, *others}) == 5


def test_vector_is_ordered_and_turns_infinity_to_nan():
    v = vector({"b": math.inf, "a": 2.0}, [A, B])
    assert v[0] == 2.0 and math.isnan(v[1])
    with pytest.raises(KeyError):
        vector({"a": 1.0}, [A, B])


def test_unknown_group_is_refused():
    with pytest.raises(ValueError):
        Feature("a", "aura", "1", "x")


def test_the_schema_names_each_feature_once_and_is_described():
    names = [f.name for f in schema()]
    assert len(names) == len(set(names)) > 60
    assert all(f.about.endswith(".") for f in schema())
    assert feature_schema() == schema_hash(schema(), SCHEMA_VERSION)
