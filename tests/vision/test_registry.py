"""The registry is complete and consistent."""

from vision import registry


def test_every_entry_has_a_sentence():
    for table in (registry.FACES, registry.CORES, registry.SUBSTRATES, registry.VIEWS, registry.ROLES, registry.PROBLEMS,
                  registry.CUES, registry.FINDING_KINDS, registry.REASONS):
        for key, sentence in table.items():
            assert key == key.lower().replace(" ", "_")
            assert sentence.endswith(".") and sentence[0].isupper(), (key, sentence)


def test_substrates_cover_exactly_the_possible_pairs():
    assert set(registry.SUBSTRATE_OF.values()) == set(registry.SUBSTRATES)
    assert {f for f, _ in registry.SUBSTRATE_OF} == set(registry.FACES)
    assert ("solid_wood", "plywood") not in registry.SUBSTRATE_OF
    assert registry.SUBSTRATE_OF["veneer", "plywood"] == "veneer_on_plywood"


def test_words_exist_for_every_class():
    assert set(registry.FACE_WORDS) == set(registry.FACES)
    assert set(registry.CORE_WORDS) == set(registry.CORES)
