"""Which sightings are joined into one part, and which are left apart because the layout leaves a choice."""

from vision import registry
from vision.parts.boards import contact, find_parts
from vision.parts.fuse import Sighting, face_margin, substrate_prior
from vision.types import Panel, Verdict

FACE = dict.fromkeys(registry.FACES, 1 / 6)
CORE = dict.fromkeys(registry.CORES, 1 / 4)
SIZE = {"p1": (1200, 900), "p2": (1200, 900)}
TOP = ((330, 170), (830, 170), (900, 240), (260, 240))


def rect(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def seen(name, outline, view="face", *, photo="p1", faces=tuple(registry.FACES), colour=None, decided=None, source="found"):
    face = FACE if decided is None else {k: 0.95 if k == decided else 0.01 for k in FACE}
    substrate = substrate_prior(face, CORE)
    verdict = Verdict(
        face=face_margin(substrate), core=CORE, core_visible=0.9 if view != "face" else 0.1, substrate=substrate,
        face_set=faces if decided is None else (decided,), core_set=tuple(registry.CORES),
        substrate_set=tuple(registry.SUBSTRATES),
        level=0.9, undecided=decided is None, reason="weak_evidence" if decided is None else None, cues=("none",),
    )
    panel = Panel(name, photo, tuple((float(x), float(y)) for x, y in outline), source=source)
    return Sighting(photo, panel, view, verdict, colour)


def parts(*sightings):
    return find_parts(sightings, SIZE, prior_face=FACE, prior_core=CORE)


def members(found):
    return {p.id: [s for _, s in p.sightings] for p in found}


def fronts(photo="p1", **kw):
    return [seen(f"f{n}", rect(270, 270 + 140 * n, 890, 400 + 140 * n), photo=photo, **kw) for n in range(3)]


def test_edge_below_a_top_is_the_tops():
    found = members(parts(seen("t", TOP), seen("e", rect(260, 241, 900, 262), "edge"), *fronts()))
    assert found == {"top": ["t", "e"], "drawer_front": ["f0", "f1", "f2"]}


def test_edge_between_two_faces_without_a_top_is_left_apart():
    a, b = seen("a", rect(100, 100, 700, 300)), seen("b", rect(100, 322, 700, 900))
    found = members(parts(a, b, seen("e", rect(100, 301, 700, 321), "edge")))
    assert found == {"part-1": ["a"], "part-2": ["b"]}


def test_an_open_scrap_makes_a_part_only_where_the_user_pointed_or_nothing_else_is_there():
    face, scrap = seen("a", rect(100, 100, 700, 300)), rect(100, 600, 700, 620)
    assert members(parts(face, seen("e", scrap, "joint"))) == {"part-1": ["a"]}
    assert members(parts(face, seen("e", scrap, "joint", source="given"))) == {"part-1": ["a"], "part-2": ["e"]}
    assert members(parts(seen("e", scrap, "joint"))) == {"part-1": ["e"]}


def test_a_joint_belongs_to_no_board():
    found = members(parts(seen("a", rect(100, 100, 700, 500)), seen("e", rect(100, 501, 700, 520), "joint", source="given")))
    assert found == {"part-1": ["a"], "part-2": ["e"]}


def test_an_edge_along_one_face_joins_it():
    found = members(parts(seen("a", rect(100, 100, 700, 500)), seen("e", rect(100, 501, 700, 520), "edge")))
    assert found == {"part-1": ["a", "e"]}


def test_an_edge_far_away_joins_nothing():
    edge = seen("e", rect(100, 600, 700, 620), "edge", source="given")
    found = members(parts(seen("a", rect(100, 100, 700, 300)), edge))
    assert sorted(found.values()) == [["a"], ["e"]]


def test_contact_is_the_share_of_the_long_side():
    face = seen("a", rect(0, 0, 600, 100)).panel
    whole = seen("e", rect(0, 100, 600, 110), "edge").panel
    half = seen("e", rect(300, 100, 900, 110), "edge").panel
    assert contact(whole, face, 2) > 0.99
    assert abs(contact(half, face, 2) - 0.5) < 0.03
    assert contact(half, seen("b", rect(0, 500, 9, 600)).panel, 2) == 0


def test_a_front_of_another_colour_or_answer_stays_apart():
    blue = fronts(colour=(50.0, 0.0, 0.0))
    odd = seen("f1", rect(270, 410, 890, 540), colour=(50.0, 0.0, 40.0))
    assert members(parts(blue[0], odd, blue[2])) == {"drawer_front": ["f0", "f2"], "drawer_front-2": ["f1"]}
    wood = [seen(s.panel.id, s.panel.outline, decided="veneer") for s in fronts()]
    printed = seen("f2", wood[2].panel.outline, decided="printed")
    assert members(parts(*wood[:2], printed)) == {"drawer_front": ["f0", "f1"], "drawer_front-2": ["f2"]}


def test_tops_of_two_photos_are_one_part_unless_they_contradict():
    first = [seen("t", TOP), *fronts()]
    second = [seen("u", TOP, photo="p2"), *fronts("p2")]
    found = {p.id: p.sightings for p in parts(*first, *second)}
    assert found["top"] == (("p1", "t"), ("p2", "u"))
    assert len(found["drawer_front"]) == 6
    other = [seen("u", TOP, photo="p2", decided="printed"), *fronts("p2")]
    split = parts(seen("t", TOP, decided="solid_wood"), *fronts(), *other)
    assert [p.id for p in split if p.role == "top"] == ["top", "top-2"]


def test_sides_of_two_photos_are_not_guessed_to_be_one():
    side = ((905, 250), (1040, 220), (1040, 610), (905, 690))
    found = parts(*fronts(), seen("s", side), *fronts("p2"), seen("s", side, photo="p2"))
    assert [p.id for p in found if p.role == "side"] == ["side", "side-2"]


def test_what_is_no_board_is_no_part():
    assert parts(seen("wall", rect(0, 0, 900, 100), decided="not_wood")) == ()


def test_every_sighting_is_in_exactly_one_part():
    group = [seen("t", TOP), seen("e", rect(260, 241, 900, 262), "edge"), *fronts(), seen("x", rect(0, 700, 100, 880))]
    everything = [s for p in parts(*group) for s in p.sightings]
    assert sorted(everything) == sorted((s.photo, s.panel.id) for s in group)


CLOSE = rect(100, 100, 1100, 800)
AGAIN = [(("p1", "t"), ("p2", "c"))]


def joined(*sightings, seen_again=AGAIN):
    return members(find_parts(sightings, SIZE, prior_face=FACE, prior_core=CORE, seen_again=seen_again))


def test_a_close_up_joins_the_part_whose_figure_it_shows():
    whole = [seen("t", TOP), *fronts()]
    close = seen("c", CLOSE, photo="p2")
    assert joined(*whole, close, seen_again=[]) == {"top": ["t"], "drawer_front": ["f0", "f1", "f2"], "part-1": ["c"]}
    assert joined(*whole, close) == {"top": ["t", "c"], "drawer_front": ["f0", "f1", "f2"]}


def test_figure_does_not_join_what_answers_otherwise_or_has_another_role():
    whole = [seen("t", TOP, decided="veneer"), *fronts()]
    assert joined(*whole, seen("c", CLOSE, photo="p2", decided="printed"))["top"] == ["t"]
    pale = [seen("t", TOP, colour=(80.0, 0.0, 0.0)), *fronts()]
    assert joined(*pale, seen("c", CLOSE, photo="p2", colour=(40.0, 0.0, 0.0)))["top"] == ["t"]
    named = seen("side", CLOSE, photo="p2", source="given")
    found = joined(seen("t", TOP), *fronts(), named, seen_again=[(("p1", "t"), ("p2", "side"))])
    assert (found["top"], found["side"]) == (["t"], ["side"])


def test_a_mixed_piece_keeps_its_materials_apart_over_two_photos():
    side = ((905, 250), (1040, 220), (1040, 610), (905, 690))

    def photo(name):
        return [seen("t", TOP, decided="veneer", photo=name), *fronts(name, decided="solid_wood"),
                seen("s", side, decided="printed", photo=name)]

    found = find_parts([*photo("p1"), *photo("p2")], SIZE, prior_face=FACE, prior_core=CORE,
                       seen_again=[(("p1", "t"), ("p2", "t")), (("p1", "t"), ("p2", "s"))])
    assert {p.id: len(p.sightings) for p in found} == {"top": 2, "side": 1, "side-2": 1, "drawer_front": 6}
    for p in found:
        top = max(p.verdict.face, key=p.verdict.face.__getitem__)
        assert top == {"top": "veneer", "drawer_front": "solid_wood"}.get(p.role, "printed")


def test_an_edge_belongs_to_the_face_it_touches_not_to_one_a_gap_away():
    """1500 px diagonal: the near face lies 2 px off, the other 14 px; a wide reach alone would leave the choice open."""
    near, far = seen("a", rect(100, 100, 700, 300)), seen("b", rect(100, 336, 700, 890))
    assert members(parts(near, far, seen("e", rect(100, 302, 700, 322), "edge"))) == {"part-1": ["a", "e"], "part-2": ["b"]}
