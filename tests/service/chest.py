"""A stand-in engine for tests of the service: a made-up chest of drawers with fixed verdicts, no measuring at all."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from service.contract import Document, document
from service.look import Request, look
from vision import registry
from vision.assessment import Assessment, ModelInfo, PanelResult, PhotoResult
from vision.detail import Detail
from vision.errors import PhotoError
from vision.next_steps import next_steps
from vision.parts import Sighting, find_parts, substrate_prior
from vision.types import Finding, Panel, Photo, Problem, Region, Verdict

FLAT_FACE = dict.fromkeys(registry.FACES, 1 / len(registry.FACES))
FLAT_CORE = dict.fromkeys(registry.CORES, 1 / len(registry.CORES))
PRIOR = substrate_prior(FLAT_FACE, FLAT_CORE)


def face(**given: float) -> dict[str, float]:
    """Face distribution with the rest spread evenly over what is not named."""
    rest = [k for k in registry.FACES if k not in given]
    return {**given, **{k: (1 - sum(given.values())) / len(rest) for k in rest}}


def core(**given: float) -> dict[str, float]:
    rest = [k for k in registry.CORES if k not in given]
    return {**given, **{k: (1 - sum(given.values())) / len(rest) for k in rest}}


def verdict(
    f: Mapping[str, float], c: Mapping[str, float] | None = None, *, faces: Sequence[str], cores: Sequence[str] | None = None,
    seen: float = 0.05, reason: str | None = None, cues: Sequence[str] = ("none",), findings: Sequence[str] = (),
) -> Verdict:
    c = c or FLAT_CORE
    substrate = substrate_prior(f, c)
    kept = {registry.SUBSTRATE_OF[a, b] for a in faces for b in (cores or registry.CORES) if (a, b) in registry.SUBSTRATE_OF}
    return Verdict(
        face=f, core=c, core_visible=seen, substrate=substrate, face_set=tuple(faces),
        core_set=tuple(cores or registry.CORES), substrate_set=tuple(s for s in registry.SUBSTRATES if s in kept), level=0.9,
        undecided=reason is not None, reason=reason, cues=tuple(cues), findings=tuple(findings),
    )


def box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


#: Panels of the made-up chest on a 1200 x 900 photo: id -> (outline, view, verdict).
OPEN_TOP = verdict(
    face(solid_wood=0.52, veneer=0.41), faces=("solid_wood", "veneer"), reason="plain_face", cues=("figure",),
    findings=("f1", "f2"),
)
TOP_EDGE = verdict(
    face(solid_wood=0.03, veneer=0.6, printed=0.3), core(particle_board=0.9), faces=("veneer", "printed"),
    cores=("particle_board",), seen=0.93, cues=("edge",), findings=("f3",),
)
FRONT = verdict(face(printed=0.93), faces=("printed",), cues=("figure", "highlight"), findings=("f4",))
SIDE = verdict(face(opaque=0.96), faces=("opaque",), cues=("none",))
CHEST = {
    "top": (((330, 170), (830, 170), (900, 240), (260, 240)), "face", OPEN_TOP),
    "lip": (box(260, 241, 900, 258), "edge", TOP_EDGE),
    "front1": (box(270, 270, 890, 400), "face", FRONT),
    "front2": (box(270, 410, 890, 540), "face", FRONT),
    "front3": (box(270, 550, 890, 680), "face", FRONT),
    "flank": (((905, 250), (1040, 220), (1040, 610), (905, 690)), "face", SIDE),
}


#: Seen besides on the made-up chest.
DETAILS = {
    "front1": (
        Detail("damage", "chip", None, "high", box(300, 300, 340, 330), "Missing chip (major).", "What lies under can be seen."),
        Detail("damage", "insect_holes", None, "low", box(500, 300, 520, 320), "Possible small holes as insects leave, check by "
               "hand.", "A photo cannot settle it."),
    ),
    "lip": (Detail("edge", "particles", 0.9, None, box(260, 241, 900, 258), "A narrow side, 17 px thick. It looks like glued "
                   "particles.", "Particle board: the face is a skin.", {"thickness_px": 17.0}),),
}


def findings(photo: str) -> tuple[Finding, ...]:
    def on(panel: str, kind: str = "polygon") -> Region:
        points = CHEST[panel][0]
        return Region(photo, panel, kind, points if kind == "polygon" else points[:2])

    return (
        Finding("f1", "grain_flow", (on("top"),), "solid_wood", "veneer", 1.2, "Grain runs along the top and bends gently."),
        Finding("f2", "fine_texture", (on("top"),), "veneer", "printed", 11.0, "Pores break the figure all over the top."),
        Finding("f3", "edge_particles", (on("lip", "line"),),
                "particle_board", "plywood", 14.0, "Coarse particles show on the edge."),
        Finding("f4", "print_clues", tuple(on(f"front{n}") for n in (1, 2, 3)), "printed", "veneer", 13.5,
                "The same figure stands on three fronts."),
    )


class ChestEngine:
    """Finds the made-up chest on every photo; a file that is no picture is refused, as the real loader does."""

    def __init__(self) -> None:
        self.calls: list[dict[str, object]] = []

    def load(self, path: str, photo_id: str) -> Photo:
        try:
            data = Path(path).read_bytes()
            with Image.open(path) as im:
                pixels = np.asarray(im.convert("RGB"))
        except (OSError, ValueError) as err:
            raise PhotoError(path, "It is not a picture that can be opened.", "Take the photo again or save it as JPEG.") from err
        return Photo(photo_id, path, hashlib.sha256(data).hexdigest(), pixels, (Problem("glare", "Glare hides part of it."),))

    def assess(self, photos, *, outlines, taps, model, prior, details=True, progress=None) -> Assessment:
        self.calls.append({"photos": [p.id for p in photos], "outlines": outlines, "taps": taps, "prior": prior, "model": model,
                           "details": details})
        if progress is not None:
            progress("Measuring panels", 0.5)
        results = tuple(
            PhotoResult(p, tuple(
                PanelResult(Panel(name, p.id, outline), view, v, None, np.eye(3), {view: 1.0}, DETAILS.get(name, ()))
                for name, (outline, view, v) in CHEST.items()
            ))
            for p in photos
        )
        sightings = [Sighting(r.photo.id, q.panel, q.view, q.verdict) for r in results for q in r.panels]
        sizes = {p.id: (p.width, p.height) for p in photos}
        parts = find_parts(sightings, sizes, prior_face=FLAT_FACE, prior_core=FLAT_CORE)
        name = getattr(prior, "name", prior) or "even"
        info = ModelInfo("chest-1", "0123456789abcdef", "mixed", 412, name, FLAT_FACE, FLAT_CORE)
        found = findings(photos[0].id) if photos else ()
        return Assessment(results, found, parts, next_steps(parts) if photos else (), info)


def chest_photo(path: Path, seed: int = 0) -> Path:
    """A 1200 x 900 JPEG with something chest-like on it, different for every seed."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:900, 0:1200].astype(float)
    img = np.stack([188 - y / 18, 182 - y / 16, 172 - y / 14], -1)
    grain = 12 * np.sin(y / 3.1 + 3 * np.sin(x / 170)) + 5 * rng.standard_normal((900, 1200))
    tones = {"top": (150, 104, 66), "lip": (196, 172, 140), "flank": (120, 138, 128)}
    for name, (outline, _, _) in CHEST.items():
        mask = Image.new("L", (1200, 900))
        from PIL import ImageDraw

        ImageDraw.Draw(mask).polygon([tuple(p) for p in outline], fill=255)
        m = np.asarray(mask) > 0
        tone = np.array(tones.get(name, (172, 126, 82)), float)
        img[m] = tone + (grain[m, None] if name not in ("flank", "lip") else 2 * rng.standard_normal((int(m.sum()), 1)))
    Image.fromarray(np.clip(img, 0, 255).astype(np.uint8)).save(path, quality=88)
    return path


def chest_document(folder: Path) -> Document:
    """The contract document of the made-up chest; `folder` takes its photo."""
    file = str(chest_photo(folder / "chest.jpg"))
    return document(look(Request((file,)), ChestEngine()).assessment)
