"""A piece in a line, two side by side, what would settle it, and numbers that do not lie on each other."""

from itertools import combinations

from service.web.views.piece import known_words, others_line, side_by_side, standing
from service.web.views.result import Picture, result_view
from tests.service.chest import chest_document


def test_where_a_piece_stands():
    assert standing(0, False, "") == "no photo yet"
    assert standing(2, False, "") == "not looked at yet"
    assert standing(2, True, "2 parts in 1 photo") == "being looked at"
    assert standing(2, False, "2 parts in 1 photo") == "2 parts in 1 photo"


def test_side_by_side_has_every_named_part_once_for_each_piece(tmp_path):
    view = result_view(chest_document(tmp_path), ())
    rows = side_by_side([view, None])
    assert rows and all(len(r["cells"]) == 2 for r in rows)
    assert sorted(p["name"] for r in rows for p in r["cells"][0]) == sorted(p["name"] for p in view["named"])
    assert all(r["cells"][1] == [] for r in rows)
    assert side_by_side([None, None]) == []


def test_panels_of_no_part_are_counted():
    assert others_line(None) == "" and others_line({"others": []}) == ""
    assert others_line({"others": [{"open": True}]}) == "1 panel of no known part, none of them told"
    assert others_line({"others": [{"open": True}, {"open": False}]}) == "2 panels of no known part, 1 of them told"


def test_what_would_settle_it_keeps_every_step_and_its_order(tmp_path):
    doc = chest_document(tmp_path)
    groups = result_view(doc, ())["next"]
    assert sum(len(g["at"]) for g in groups) == len(doc.next)
    assert groups[0]["text"] == doc.next[0].text
    assert len({(str(s.kind), str(s.ask)) for s in doc.next}) == len(groups)


def test_numbers_of_findings_of_one_place_stand_beside_each_other(tmp_path):
    doc = chest_document(tmp_path)
    pairs = 0
    for photo in result_view(doc, [Picture("a", p.id, "/x.jpg", 10, 10) for p in doc.photos])["photos"]:
        for a, b in combinations(photo["marks"], 2):
            if a["points"] == b["points"]:
                pairs += 1
                assert abs(a["at_x"] - b["at_x"]) > 2.5 * photo["unit"]
    assert pairs


def test_what_is_known_in_words():
    assert known_words("printed", "particle_board") == "printed surface on particle board"
    assert known_words("solid_wood", None) == "solid wood" and known_words(None, "plywood") == "plywood"
