"""What each part of a piece is made of: one construction per role, the same for every part in that role."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from training.figure.cuts import Board, Peeled, lay_leaves, saw_board
from training.figure.finish import PAINTS, Finish
from training.figure.log import Log
from training.figure.patterned import PATTERNS, lay_pattern
from training.figure.pictures import Strip
from training.figure.prints import PrintDesign
from training.figure.slabs import BareSlab, LumberSlab, PaintSlab, PrintSlab, Slab, VeneerSlab
from training.scenes.config import draw
from training.scenes.real_figure import Pool, clad

FURNITURE_WOODS = {
    "red_oak_like": 1.2,
    "white_oak_like": 1.2,
    "ash_like": 0.8,
    "walnut_like": 1.2,
    "cherry_like": 0.9,
    "maple_like": 0.7,
    "beech_like": 0.8,
    "birch_like": 0.7,
    "mahogany_like": 0.9,
    "teak_like": 0.7,
    "pine_like": 1.5,
    "spruce_like": 0.5,
    "fir_like": 0.6,
    "poplar_like": 0.3,
    "rubberwood_like": 0.6,
}
_SHEET_CORES = {"particle_board": 0.45, "fibreboard": 0.3, "plywood": 0.25}
_LAYOUTS = {"single": 0.28, "book": 0.19, "slip": 0.14, "random": 0.08, "running": 0.08, "pattern": 0.23}
#: How the fibres of a piece's trunk wander; a burl is only ever sliced or printed.
_FIGURED = {"straight": 0.80, "curl": 0.07, "ribbon": 0.05, "quilt": 0.02, "birds_eye": 0.02, "burl": 0.04}
#: Coats: (roughness, specular strength, depth of colour).
_COATS = {"bare": (0.7, 0.12, 0.0), "oil": (0.5, 0.3, 0.5), "satin_lacquer": (0.33, 0.5, 0.5), "varnish": (0.22, 0.55, 0.6),
          "gloss_polyester": (0.09, 0.75, 0.75)}


@dataclass(frozen=True)
class Plan:
    """Construction of one role. `kind`: face class; `core`; `edging`; `layout` of leaves or boards."""

    kind: str
    core: str
    edging: str
    layout: str = "single"
    board: str = "fibreboard"
    peeled: bool = False


def _veneer(rng: np.random.Generator) -> Plan:
    core = draw(rng, {**_SHEET_CORES, "lumber": 0.15})
    return Plan("veneer", core, draw(rng, {"veneer_band": 0.45, "lipping": 0.12, "raw": 0.43}), draw(rng, _LAYOUTS))


def _printed(rng: np.random.Generator) -> Plan:
    core = draw(rng, {"particle_board": 0.62, "fibreboard": 0.26, "plywood": 0.1, "lumber": 0.02})
    return Plan("printed", core, draw(rng, {"print_band": 0.45, "plain_band": 0.2, "raw": 0.35}))


def _painted(rng: np.random.Generator) -> Plan:
    core = draw(rng, {"fibreboard": 0.35, "particle_board": 0.25, "lumber": 0.25, "plywood": 0.15})
    edge = {"painted": 0.8, "raw": 0.2} if core != "lumber" else {"painted": 1.0}
    return Plan("opaque", core, draw(rng, edge))


def _raw(rng: np.random.Generator) -> Plan:
    board = draw(rng, {"fibreboard": 0.36, "particle_board": 0.3, "strand_board": 0.18, "hardboard": 0.16})
    return Plan(
        "bare_board", "particle_board" if board in ("particle_board", "strand_board") else "fibreboard", "raw", board=board
    )


def _plywood(rng: np.random.Generator) -> Plan:
    return Plan("veneer", "plywood", "raw", peeled=bool(rng.random() < 0.75))


def _solid(rng: np.random.Generator) -> Plan:
    return Plan("solid_wood", "lumber", "self", draw(rng, {"boards": 0.7, "plank": 0.3}))


_MAKERS = {"solid": _solid, "veneered": _veneer, "printed": _printed, "painted": _painted, "plywood": _plywood, "raw": _raw}
_GROUPS = {
    "top": "top",
    "shelf": "case",
    "side": "case",
    "drawer_front": "front",
    "door": "front",
    "leg": "frame",
    "frame": "frame",
    "back": "back",
    "drawer_side": "inner",
    "drawer_bottom": "back",
    "board": "top",
}


def plan_piece(style: str, rng: np.random.Generator) -> dict[str, Plan]:
    """Plan per role group ('top', 'case', 'front', 'frame', 'back', 'inner') for a style."""
    if style == "mixed":
        pick = {"solid": 0.26, "veneered": 0.24, "printed": 0.26, "painted": 0.14, "plywood": 0.06, "raw": 0.04}
        plans = {g: _MAKERS[draw(rng, pick)](rng) for g in ("top", "case", "front")}
        plans["frame"] = _solid(rng) if rng.random() < 0.7 else plans["case"]
    else:
        main = _MAKERS[style](rng)
        plans = {g: main for g in ("top", "case", "front")}
        plans["frame"] = main if style in ("solid", "painted", "raw") else (_solid(rng) if rng.random() < 0.6 else main)
        if style == "veneered" and rng.random() < 0.25:
            plans["front"] = replace(main, core="lumber")
    cheap = style in ("printed", "raw") or rng.random() < 0.3
    back = {"hard": 0.5, "printed": 0.3, "ply": 0.2} if cheap else {"ply": 0.55, "hard": 0.2, "solid": 0.25}
    choice = draw(rng, back)
    plans["back"] = {
        "hard": Plan("bare_board", "fibreboard", "raw", board="hardboard"),
        "printed": Plan("printed", "fibreboard", "raw"),
        "ply": Plan("veneer", "plywood", "raw", peeled=True),
        "solid": Plan("solid_wood", "lumber", "self", "boards"),
    }[choice]
    inner = {"printed": 0.5, "raw": 0.2, "ply": 0.3} if cheap else {"solid": 0.55, "ply": 0.45}
    choice = draw(rng, inner)
    plans["inner"] = {
        "printed": Plan("printed", "particle_board", "raw"),
        "raw": Plan("bare_board", "fibreboard", "raw"),
        "ply": Plan("veneer", "plywood", "raw", peeled=True),
        "solid": Plan("solid_wood", "lumber", "self", "plank"),
    }[choice]
    return plans


class Workshop:
    """Makes the slabs of one piece: owns its logs, finish, flitch and print design, so that parts belong together."""

    def __init__(
        self, style: str, seed: int, *, twin: str | None = None, plans: dict[str, Plan] | None = None, species: str | None = None,
        figures: list[list[Strip]] | None = None,
    ) -> None:
        rng = np.random.default_rng([seed, 201])
        self.rng = np.random.default_rng([seed, 202])
        self.seed = seed
        drawn = draw(rng, FURNITURE_WOODS)
        self.species = species or drawn
        figured = draw(np.random.default_rng([seed, 204]), _FIGURED)
        if figured == "burl" and (twin is not None or style not in ("veneered", "printed")):
            figured = "straight"
        self.log = Log(self.species, int(rng.integers(1 << 30)), figured=figured)
        self.second = Log(self.species, int(rng.integers(1 << 30)), figured=figured)
        self.inner_log = Log(
            draw(rng, {"pine_like": 0.4, "poplar_like": 0.2, "birch_like": 0.2, "spruce_like": 0.2}), int(rng.integers(1 << 30))
        )
        self.ply_log = Log(
            draw(rng, {"birch_like": 0.5, "poplar_like": 0.2, "pine_like": 0.2, "mahogany_like": 0.1}),
            int(rng.integers(1 << 30)),
            knots=0.3,
        )
        self.flitch = saw_board(self.log, draw(rng, {"flat": 0.6, "rift": 0.15, "quarter": 0.25}), rng)
        self.finish = self._draw_finish(rng)
        self.inner_finish = Finish(roughness=0.65, coat=0.15, wear=float(rng.uniform(0, 0.7)), age=float(rng.uniform(0, 0.5)))
        self.design = PrintDesign(
            self.flitch,
            replace(self.finish, wear=0.0, crackle=0.0),
            repeat_mm=float(rng.choice([0, 1])) * 700 + float(rng.uniform(600, 800)),
            width_mm=float(rng.uniform(620, 1300)),
            scan_mm=float(rng.uniform(0.12, 0.5)),
            inks=int(rng.choice([0, 0, 16, 24, 40])),
            chroma=float(rng.uniform(0.2, 1.0)),
            plank_mm=float(rng.choice([0, 0, 0, 90, 130])),
            screen=float(rng.choice([0, 0.5, 1.0])),
            contrast=float(rng.uniform(0.75, 1.15)),
            seed=int(rng.integers(1 << 30)),
        )
        if rng.random() < 0.2:
            self.design = replace(self.design, repeat_mm=float(rng.uniform(280, 600)))
        self.embossed = float(rng.choice([0.0, 0.0, 0.6, 1.0]))
        self.paint = PAINTS[str(rng.choice(list(PAINTS)))] if rng.random() < 0.62 else PAINTS["white"]
        self.coat = draw(rng, {"melamine": 0.3, "smooth": 0.25, "brushed": 0.25, "roller": 0.2})
        self.band = tuple(float(np.clip(v, 0, 1)) for v in np.array(self.log.species.late) * rng.uniform(0.75, 1.1))
        self.skin = float(rng.choice([0.3, 0.6, 0.6, 0.9]))
        plan_rng = np.random.default_rng([seed, 203])
        if plans is not None:
            self.plans = {**plan_piece(style, plan_rng), **plans}
        elif twin is None:
            self.plans = plan_piece(style, plan_rng)
        else:
            base = {
                "solid": Plan("solid_wood", "lumber", "self", "boards"),
                "printed": Plan("printed", "particle_board", "print_band"),
                "veneered": Plan("veneer", "particle_board", "veneer_band", "single"),
            }[twin]
            self.plans = {g: base for g in ("top", "case", "front", "frame", "back", "inner")}
        self.twin = twin
        self.leaf_count = 0
        self.web_a = float(self.rng.uniform(0, 2000))
        self.web_b = float(self.rng.uniform(0, 600))
        self.pool = Pool.of(figures or [], seed, self.log)

    @staticmethod
    def _draw_finish(rng: np.random.Generator) -> Finish:
        kind = draw(rng, {"bare": 0.18, "oil": 0.22, "satin_lacquer": 0.32, "varnish": 0.16, "gloss_polyester": 0.12})
        stain = draw(
            rng,
            {
                "none": 0.55,
                "honey": 0.1,
                "walnut": 0.08,
                "mahogany": 0.05,
                "espresso": 0.05,
                "red_brown": 0.08,
                "grey": 0.03,
                "light_oak": 0.06,
            },
        )
        rough, coat, depth = _COATS[kind]
        brittle = {"varnish": 0.35, "satin_lacquer": 0.12}.get(kind, 0.0)
        return Finish(
            stain,
            float(rng.uniform(0.4, 1.0)) if kind != "bare" else 0.0,
            depth,
            rough * float(rng.uniform(0.85, 1.15)),
            coat,
            filled=bool(kind == "gloss_polyester" and rng.random() < 0.8),
            age=float(rng.uniform(0, 0.5)) if kind != "bare" else 0.1,
            wear=float(rng.uniform(0, 1)),
            crackle=float(rng.uniform(0.4, 1.0)) if rng.random() < brittle else 0.0,
            name=kind,
        )

    def slab(self, role: str, size: tuple[float, float, float], plan: Plan | None = None) -> Slab:
        """A part of `size` (length, width, thickness) for a role, in real figure where the piece has some to cover it."""
        made = self._slab(role, size, plan)
        outer = _GROUPS[role] not in ("back", "inner") or self.twin is not None
        return clad(made, self.pool, self.design) if self.pool is not None and outer else made

    def _slab(self, role: str, size: tuple[float, float, float], plan: Plan | None) -> Slab:
        group = _GROUPS[role]
        plan = plan or self.plans[group]
        seed = int(self.rng.integers(1 << 30))
        if group in ("back", "inner") and self.twin is None and plan.kind != "opaque":
            finish, log = self.inner_finish, self.inner_log
        else:
            finish, log = self.finish, self.log
        if plan.kind == "solid_wood":
            return self._boards(size, finish, log, seed, plan)
        band = saw_board(self.log, "rift", self.rng)
        common: dict[str, Any] = {
            "size": size,
            "finish": finish,
            "seed": seed,
            "core": plan.core,
            "edging": plan.edging,
            "plies": _plies(size[2]),
            "skin_mm": self.skin,
            "band_source": band,
            "band_colour": self.band,
            "band_design": self.design,
            "ply_species": self.ply_log.species.name,
        }
        if plan.kind == "veneer":
            if plan.peeled:
                peel = Peeled(self.ply_log, float(self.rng.uniform(120, 220)), float(self.rng.uniform(-800, 800)))
                return VeneerSlab(**common, peeled=peel, peel_start=float(self.rng.uniform(0, 3000)))
            width = float(self.rng.uniform(110, 240))
            layout = plan.layout if size[1] > 1.3 * width or self.twin else "single"
            if layout == "pattern":
                if role in ("top", "door", "drawer_front", "side", "board") and min(size[:2]) >= 140:
                    pattern = lay_pattern(draw(self.rng, dict.fromkeys(PATTERNS, 1.0)), size[:2], self.rng)
                    return VeneerSlab(**common, flitch=self.flitch, layout="single", pattern=pattern)
                layout = "book"
            leaves = lay_leaves(size[1], width, layout, self.rng, self.leaf_count)
            self.leaf_count += len(leaves) if layout != "random" else 3
            return VeneerSlab(**common, flitch=self.flitch, leaves=leaves, layout=layout, along=self._along(role))
        if plan.kind == "printed":
            flat = replace(finish, roughness=float(np.clip(finish.roughness, 0.2, 0.6)))
            common["finish"] = flat
            across = self.web_b if self.rng.random() < 0.4 else float(self.rng.uniform(0, self.design.width_mm))
            origin = (self._along(role) + self.web_a, across)
            return PrintSlab(**common, design=self.design, origin=origin, embossed=self.embossed)
        if plan.kind == "opaque":
            below = (
                self._boards(size, Finish(), log, seed, Plan("solid_wood", "lumber", "self")) if plan.core == "lumber" else None
            )
            rough = {"melamine": 0.35, "smooth": 0.25, "brushed": 0.4, "roller": 0.45}[self.coat]
            common["finish"] = replace(finish, roughness=rough, coat=0.45)
            return PaintSlab(**common, colour=self.paint, coat=self.coat, under=below)
        common["finish"] = replace(self.inner_finish)
        return BareSlab(**common, kind=plan.board)

    def _along(self, role: str) -> float:
        """Where on the web or flitch a part begins: neighbours in one sheet half of the time, else anywhere."""
        return 0.0 if self.rng.random() < 0.35 else float(self.rng.uniform(-600, 600))

    def _boards(self, size: tuple[float, float, float], finish: Finish, log: Log, seed: int, plan: Plan) -> LumberSlab:
        rng = self.rng
        width = size[1]
        stave = float(rng.uniform(60, 150))
        count = 1 if width < 165 or (plan.layout == "plank" and width < 260) else max(2, round(width / stave))
        if self.twin and width < 330:
            count = 1
        inner = np.linspace(-width / 2, width / 2, count + 1)[1:-1]
        inner = inner + rng.uniform(-0.25, 0.25, count - 1) * width / count
        cuts = [draw(rng, {"flat": 0.6, "rift": 0.2, "quarter": 0.2}) for _ in range(count)]
        boards: list[Board] = []
        for k, cut in enumerate(cuts):
            from_log = log if k % 2 == 0 or log is not self.log else self.second
            boards.append(saw_board(from_log, cut, rng))
        if self.twin:
            boards[0] = replace(self.flitch, z=self.flitch.z + float(rng.uniform(-300, 300)))
        return LumberSlab(size, finish, seed, boards=tuple(boards), joints=tuple(float(x) for x in inner))


def _plies(thickness: float) -> int:
    n = max(3, round(thickness / 1.6))
    return n if n % 2 else n + 1
