"""Pictures that show no furniture: what a panel classifier is shown by mistake, with outlines to judge.

Photos that come with scikit-image and scikit-learn, textures of packages (looked through by eye: what shows wood, bark,
rattan or a piece of furniture was left out; so was the coffee cup, which stands on a wooden table), and made pictures of
noise and gradients. Pictures are kept only in a folder that git ignores.
"""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from training.real_photos import Labelled
from vision.resize import resize

Pixels = NDArray[np.uint8]
#: Kind -> names of textures, `ARCHIVE!member` inside a furniture archive, else the end of a path.
TEXTURES: Final = {
    "fabric": (
        "CC-0!chair/tecido.jpg CC-0!chair2/NY_Chaise_Red.jpg CC-0!chairWithCushion/Denim_001_COLOR.jpg CC-0!couch/Plain001.jpg "
        "CC-0!couch2/Fabric_011_COLOR.jpg CC-0!tableWithTablecloth/red_checked.jpg CC-0!teddyBear/teddy.jpg "
        "CC-BY!chairWithCushion/cushion-red.jpg CC-BY!cornerSofa/Fabric_04.jpg CC-BY!plaidChair/cloth-texture-19.jpg "
        "CC-BY!sofa3/dark-brown_leather.jpg CC-BY!towel/Tea-Towel.jpg CC-BY!wheelchair/Leather0056_2_S.jpg "
        "Scopia!burlap_sofa/bump_sofa.jpg Scopia!clothes-basket/fabric_beige.jpg "
        "Scopia!convertible-sofa-BZ-closed/texturefabric.jpg Scopia!convertible-sofa-BZ-opened/sheettexture.jpg "
        "Scopia!curtain/beige_pattern.jpg Scopia!folded_clothes/blue-fabric.jpg Scopia!hammock/fabricTexture.jpg "
        "Scopia!com_bath3/toalla_bump.jpg Scopia!round-carpet/round-carpet-texture.jpg Scopia!ryokanChair/fabricTexture.jpg "
        "Scopia!sofa_white_beige/fabric_three_seat_sofa_base.jpg vpython_data/rug_texture.jpg"
    ),
    "stone, earth, masonry": (
        "CC-0!drawersCabinet/marble_14.jpg CC-0!littlePlant/mutt.jpg CC-0!plantie/ground.jpg CC-0!rock1/rock01.jpg "
        "CC-0!rock2/rock02.jpg CC-0!rock3/rock03.jpg CC-0!stoneLantern/1K-cave_rock_1-diffuse.jpg "
        "CC-BY!fountain/white-marble.jpg Scopia!aquarium/granite.jpg Scopia!aquarium/pebbles.jpg "
        "Scopia!bathroom_vanity/marble_public_dom_clair.jpg Scopia!bonsai-tree/soil.jpg Scopia!chimney/OcherTexture.jpg "
        "Scopia!coffee-table2/little_stones.jpg Scopia!fireplace2/stones-baked.jpg Scopia!stoneGrillDevice/textureStone.jpg "
        "Scopia!swimming-pool/tile-ext-border.jpg Scopia!swimming-pool/swimming-pool-tiles.jpg textures/asphalt_1.png "
        "textures/brick_wall_1.png textures/ceiling_tile_noborder_1.png textures/cinder_blocks_1.png textures/concrete_1.png "
        "textures/concrete_2.png textures/concrete_3.png textures/drywall_1.png textures/floor_tiles_bw_1.png "
        "textures/floor_tiles_white.png textures/marble_1.png textures/marble_2.png textures/rock_1.png textures/stucco_1.png "
        "vpython_data/granite_texture.jpg vpython_data/gravel_texture.jpg vpython_data/stones_texture.jpg "
        "vpython_data/stucco_texture.jpg vpython_data/rough_texture.jpg vpython_data/rock_texture.jpg"
    ),
    "metal": (
        "CC-0!rangeHood/Metal009_2K_Color.jpg Scopia!beach_chair/pulido2.jpg Scopia!sandwichMaker/metalTexture.jpg "
        "Scopia!scie-egoine/scie-egoine-texture.jpg meshes/barrel.png meshes/doom_door.png textures/airduct_grate_1.png "
        "textures/door_garage_red.png textures/door_garage_white.png textures/door_steel_brown.png "
        "textures/door_steel_grey.png textures/metal_grill_1.png textures/metal_grill_2.png vpython_data/metal_texture.jpg"
    ),
    "plants and food": (
        "CC-0!augalas/leaf.jpg CC-0!bread/breadD.jpg CC-0!cupcake/sponge-cake-out-of-oven-8n-10.jpg "
        "CC-BY!breadBox/pan-corteza.jpg CC-BY!hamburger/hamburger.beef.jpg CC-BY!hamburger/hamburger.tomato.jpg "
        "CC-BY!mediumIndoorPlant/leaf.jpg CC-BY!spatifilum/spatifilumList.jpg Scopia!birthday_cake/cake_chocolat_texture.jpg "
        "Scopia!birthday_cake/cake_texture.jpg Scopia!bowlWithFruits/bananaTexture.jpg Scopia!bowlWithSalad/textureSaladBase.jpg "
        "Scopia!cypress/cypressLeaves.jpg Scopia!hedgeTextured/hedge-displacement-texture.jpg "
        "Scopia!deepFryerWithFrenchFries/textureFrenchFries.jpg Scopia!steak/textureSteak.jpg "
        "Scopia!sabalPalmeto/sabalPalmetoLeaf.jpg textures/grass_1.png textures/grass_2.png"
    ),
    "water, snow, fire": (
        "CC-BY!fountain/swimming-pool-top-cyan.jpg Scopia!furnace/fire.jpg Scopia!jacuzzi/jacuzzi_normal_map.jpg "
        "Scopia!pineSnow/snowTexture.jpg textures/lava_1.png textures/water_1.png textures/water_2.png"
    ),
    "paper and pattern": (
        "CC-0!kalender/kalender.jpg CC-BY!book/Kitchen-book-leftpage.jpg Scopia!billet-20-euros/texture-20-euros.jpg "
        "Scopia!futon/wallpaper-chiyogami.jpg Scopia!futon/wallpaper-japanese-pink-flowers.jpg "
        "Scopia!flipper/flipper_texture.jpg Scopia!table_lamp/pantalla_color.jpg Scopia!paperTowelHolder/paperTowelSide.jpg "
        "textures/cardboard_1.png textures/cardboard_3.png textures/cardboard_4.png textures/logo_mila_1.png"
    ),
    "things": (
        "CC-BY!mobile/a7817305d76146ef8d1d1574ddba041f_original.jpg CC-BY!thermometer/Thermometer_C.jpg "
        "Scopia!aquarium/fishes.jpg Scopia!CCTV/eyecamera.jpg Scopia!cooker/cookerTexture.jpg "
        "Scopia!dart_game/dart_game_texture.jpg Scopia!electronicScale/textureElectronicScale.jpg "
        "Scopia!elevator/elevator.jpg Scopia!frame1/chambord.jpg "
        "Scopia!induction-cooker-4-zones/induction-cooker-4-zones-texture.jpg Scopia!indoor-bike/indoor-bike.jpg "
        "Scopia!jupe/jupe.jpg Scopia!punching-ball/punching-ball.jpg Scopia!toaster/toasterTexture.jpg "
        "Scopia!tv-remote-control/tvremote.jpg"
    ),
    "painted portraits and animals": (
        "CC-BY!siameseCat/cat_tex512.jpg CC-BY!bulldog/bulldog.jpg Scopia!cat/cat-texture.jpg Scopia!dog/dog-texture.jpg "
        "portraits/adelaide_hanscom1.png portraits/antonello_messina1.png portraits/cranach_lucas2.png "
        "portraits/edwin_longsden_long1.png portraits/franz_von_defregger3.png portraits/hans_holbein1.png "
        "portraits/james_carrol_beckwith1.png portraits/jean-leon_gerome4.png portraits/konstantin_makovsky1.png "
        "portraits/regnault_henri1.png portraits/velazquez_diego1.png portraits/richard_bergh2.png"
    ),
}
#: Pictures of the two libraries' own data, without their endings.
SCIKIT_IMAGE: Final = ("astronaut", "brick", "camera", "cell", "chelsea", "chessboard_RGB", "clock_motion", "coins", "color",
                       "grass", "gravel", "horse", "hubble_deep_field", "ihc", "logo", "microaneurysms", "moon",
                       "motorcycle_left", "page", "phantom", "retina", "rocket", "text")
SCIKIT_LEARN: Final = ("china", "flower")
PHOTOS, MADE, CONTROL = "library photos", "noise and gradients", "wood textures"
LIST: Final = "package_textures.csv"
WOOD: Final = ("wood_face", "wood_planks", "strip_glued_panel", "parquet", "burl")
#: Outlines of a picture: share of its width and height; the corner one lies off the middle.
CROPS: Final = {"whole": 0.97, "middle": 0.6, "corner": 0.4}
LEAST_SIDE, MOST_SIDE, SEED = 190, 1600, 7


def textures(folders: Sequence[Path]) -> Iterator[tuple[str, str, Pixels]]:
    """(kind, name, pixels) of the listed textures that are there."""
    archives = {p.stem.removeprefix("BlendSwap-"): p for f in folders for p in sorted(f.rglob("*.sh3f"))}
    paths = {str(p): p for f in folders for ending in ("*.png", "*.jpg") for p in sorted(f.rglob(ending))}
    for kind, names in TEXTURES.items():
        for name in names.split():
            archive, _, member = name.rpartition("!")
            if archive in archives:
                with zipfile.ZipFile(archives[archive]) as z:
                    full = next((n for n in z.namelist() if n.endswith(f"/{member}")), None)
                    data = z.read(full) if full else None
            else:
                found = next((p for text, p in paths.items() if text.endswith(f"/{name}")), None) if not archive else None
                data = found.read_bytes() if found else None
            if data is not None:
                yield kind, name, opened(io.BytesIO(data))


def wood_textures(folders: Sequence[Path], most: int = 30) -> Iterator[tuple[str, str, Pixels]]:
    """(CONTROL, name, pixels) of wood in the same packages: files like the others, but of wood. A score that refuses them as
    readily tells kinds of files, not materials."""
    listed = next((f / LIST for f in folders if (f / LIST).exists()), None)
    if listed is None:
        return
    archives = {p.name: p for f in folders for p in sorted(f.rglob("*.sh3f"))}
    with listed.open(newline="", encoding="utf-8") as stream:
        rows = [r for r in csv.DictReader(stream) if r["label"] in WOOD and "!" in r["path"]]
    for row in rows[:: max(1, len(rows) // most)][:most]:
        archive, _, member = row["path"].rpartition("/")[2].partition("!")
        if archive not in archives:
            continue
        with zipfile.ZipFile(archives[archive]) as z:
            name = next((n for n in z.namelist() if n.lower().replace("/", "_").endswith(member.lower())), None)
            if name is not None:
                yield CONTROL, name, opened(io.BytesIO(z.read(name)))


def opened(stream: io.BytesIO | Path) -> Pixels:
    """(h, w, 3) of a picture file, shrunk where it is very large; what is transparent becomes white."""
    with Image.open(stream) as image:
        image.load()
        whole = image.convert("RGBA")
    ground = Image.new("RGBA", whole.size, "white")
    pixels = np.asarray(Image.alpha_composite(ground, whole).convert("RGB"))
    share = MOST_SIDE / max(pixels.shape[:2])
    return pixels if share >= 1 else resize(pixels, round(pixels.shape[1] * share), round(pixels.shape[0] * share))


def library_photos() -> Iterator[tuple[str, str, Pixels]]:
    """(kind, name, pixels) of the pictures that come with scikit-image and scikit-learn; nothing is fetched."""
    import skimage.data
    import sklearn.datasets

    for module, names in ((skimage.data, SCIKIT_IMAGE), (sklearn.datasets, SCIKIT_LEARN)):
        root = Path(str(module.__file__)).parent
        for name in names:
            found = sorted(p for p in [*root.glob(f"{name}.*"), *root.glob(f"images/{name}.*")] if p.suffix in (".png", ".jpg"))
            if found:
                yield PHOTOS, name, opened(found[0])


def made(seed: int = SEED) -> Iterator[tuple[str, str, Pixels]]:
    """(kind, name, pixels) of noise of several grains and colours, gradients and stripes, 600 x 800."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:600, :800].astype(np.float32)
    for k in range(4):
        cell = (1, 3, 12, 60)[k]
        small = rng.uniform(0, 255, (600 // cell, 800 // cell, 3)).astype(np.uint8)
        yield MADE, f"coloured noise {cell} px", resize(small, 800, 600)
        spectrum = np.fft.rfft2(rng.standard_normal((600, 800)))
        f = np.hypot(np.fft.fftfreq(600)[:, None], np.fft.rfftfreq(800)[None]) + 1e-3
        grey = np.fft.irfft2(spectrum / f ** (0.5 * k + 0.5), (600, 800))
        low, high = np.quantile(grey, [0.01, 0.99])
        tone = np.clip((grey - low) / (high - low), 0, 1)[..., None]
        yield MADE, f"noise falling with frequency {k}", (tone * rng.uniform(90, 255, 3)).astype(np.uint8)
        a, b = rng.uniform(0, 255, 3), rng.uniform(0, 255, 3)
        turn = float(rng.uniform(0, np.pi))
        along = np.cos(turn) * x / 800 + np.sin(turn) * y / 600
        t = ((along - along.min()) / np.ptp(along))[..., None]
        yield MADE, f"gradient {k}", (a * (1 - t) + b * t).astype(np.uint8)
        wave = 0.5 + 0.5 * np.sin(2 * np.pi * (np.cos(turn) * x + np.sin(turn) * y) / (6, 14, 40, 110)[k])[..., None]
        yield MADE, f"stripes {k}", (a * (1 - wave) + b * wave).astype(np.uint8)


def outlines(name: str, width: int, height: int) -> dict[str, tuple[tuple[float, float], ...]]:
    """Crop name -> its rectangle on a picture of that size, corners in order."""
    draw = np.random.default_rng(int(hashlib.sha256(name.encode()).hexdigest()[:8], 16))
    out: dict[str, tuple[tuple[float, float], ...]] = {}
    for crop, share in CROPS.items():
        w, h = width * share, height * share
        at = draw.uniform(0, 1, 2) if crop == "corner" else (0.5, 0.5)
        x, y = float(at[0]) * (width - w), float(at[1]) * (height - h)
        out[crop] = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    return out


def rows(pictures: Iterator[tuple[str, str, Pixels]], folder: Path) -> list[Labelled]:
    """Rows to measure, the pictures written into `folder`. Author: the kind; specimen: the picture; the crop ends the id."""
    folder.mkdir(parents=True, exist_ok=True)
    out = []
    for kind, name, pixels in pictures:
        if min(pixels.shape[:2]) < LEAST_SIDE:
            continue
        path = folder / f"{hashlib.sha256(name.encode()).hexdigest()[:12]}.png"
        if not path.exists():
            Image.fromarray(pixels).save(path)
        for crop, outline in outlines(name, pixels.shape[1], pixels.shape[0]).items():
            out.append(Labelled(id=f"{path.stem}.{crop}", path=path, outline=outline, author=kind, specimen=name, view="face",
                                face="not_wood", core=None, weight=1.0, headline=True, cues=("none",), line_scan=False))
    return out
