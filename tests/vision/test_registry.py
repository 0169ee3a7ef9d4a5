"""The registry is complete and consistent."""

from vision import registry
from vision.damage.kinds import KINDS
from vision.edges.kinds import CANNOT_TELL, STRIP_KINDS
from vision.hardware.kinds import KINDS as HARDWARE
from vision.hardware.read import SILENT
from vision.joints.finds import ITEM_KINDS


def test_every_entry_has_a_sentence():
    for table in (registry.FACES, registry.CORES, registry.SUBSTRATES, registry.VIEWS, registry.ROLES, registry.PROBLEMS,
                  registry.CUES, registry.FINDING_KINDS, registry.REASONS):
        for key, sentence in table.items():
            assert key == key.lower().replace(" ", "_")
            assert sentence.endswith(".") and sentence[0].isupper(), (key, sentence)


def test_details_are_those_of_the_rooms():
    assert set(registry.DETAILS) == set(registry.DETAIL_GROUPS)
    assert set(registry.DETAILS["damage"]) == set(KINDS)
    assert set(registry.DETAILS["edge"]) == {*STRIP_KINDS, CANNOT_TELL}
    assert set(registry.DETAILS["joint"]) < set(ITEM_KINDS)
    assert set(registry.DETAILS["fitting"]) == set(HARDWARE) - set(SILENT)
    for table in registry.DETAILS.values():
        assert all(text.endswith(".") and text[0].isupper() for text in table.values())


def test_substrates_cover_exactly_the_possible_pairs():
    assert set(registry.SUBSTRATE_OF.values()) == set(registry.SUBSTRATES)
    assert {f for f, _ in registry.SUBSTRATE_OF} == set(registry.FACES)
    assert ("solid_wood", "plywood") not in registry.SUBSTRATE_OF
    assert registry.SUBSTRATE_OF["veneer", "plywood"] == "veneer_on_plywood"


def test_words_exist_for_every_class():
    assert set(registry.FACE_WORDS) == set(registry.FACES)
    assert set(registry.CORE_WORDS) == set(registry.CORES)
