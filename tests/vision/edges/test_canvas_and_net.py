"""What the edge net is shown, and the net itself: rows map back, thin and long edges fit, damaged files are refused."""

from __future__ import annotations

import numpy as np
import pytest

from tests.vision.edges.edge_photos_made import photo_of
from tests.vision.edges.edge_strips_made import particles, plies
from vision.edges.canvas import BESIDE, LONG, TALL, TOLD, WIDE, as_input, draw_canvas
from vision.edges.frame import lay_out
from vision.edges.net import NET, as_answer, load_edge_net, sheet_line
from vision.errors import ModelMismatch


def _frame(thickness=60, length=400):
    rows = np.linspace(40, 220, thickness)[:, None, None]
    strip = np.broadcast_to(rows, (thickness, length, 3)).astype(np.uint8)
    pixels, outline, face = photo_of(strip, angle=0.0, noise=0.0)
    return lay_out(pixels, outline, face_at=face, refine=False)


@pytest.mark.parametrize(("thickness", "length"), [(8, 60), (20, 700), (60, 400), (150, 800), (150, 200)])
def test_every_edge_fits_the_canvas(thickness, length):
    canvas = draw_canvas(_frame(thickness, length))
    assert canvas.strip.shape == (TALL, WIDE, 3) and canvas.arris.shape == (2 * BESIDE, LONG, 3)
    assert canvas.told.shape == (TOLD,) and np.isfinite(canvas.told).all()


def test_canvas_rows_show_the_frame_rows_they_say():
    frame = _frame(80)
    canvas = draw_canvas(frame)
    for row in (frame.top + 5, frame.top + 40, frame.top + 70):
        at = canvas.canvas_row(row)
        assert canvas.frame_row(at) == pytest.approx(row)
        shown = float(canvas.strip[round(at), WIDE // 2, 0])
        assert shown == pytest.approx(float(frame.rgb[row, frame.rgb.shape[1] // 2, 0]), abs=4)


def test_input_is_channels_first_about_zero():
    picture = np.zeros((4, 6, 3), np.uint8)
    picture[..., 1] = 128
    x = as_input(picture)
    assert x.shape == (3, 4, 6) and x.dtype == np.float32 and (x[1] == 0).all() and (x[0] == -2).all()


def test_a_sheet_s_line_is_read_off_the_map_near_the_face_alone():
    maps = np.zeros((2, TALL))
    maps[1, 30], maps[1, 90] = 0.8, 0.9
    net = as_answer(np.zeros(8), np.zeros(3), maps, 0, TALL)
    assert sheet_line(net, 24, 80) == pytest.approx(30)
    maps[1, 30] = 0.1
    assert sheet_line(as_answer(np.zeros(8), np.zeros(3), maps, 0, TALL), 24, 80) is None


def test_the_stored_net_is_small_and_tells_plies_from_particles():
    assert NET.stat().st_size < 2.2e6
    net = load_edge_net()
    answers = {}
    for name, strip in (("plies", plies(9, thickness=90)), ("particles", particles(thickness=90, middle=3.0))):
        pixels, outline, face = photo_of(strip)
        answers[name] = net.answer(lay_out(pixels, outline, face_at=face))
    for answer in answers.values():
        assert np.exp(answer.kind).sum() == pytest.approx(1) and answer.plies.shape == (TALL,)
        assert ((answer.plies >= 0) & (answer.plies <= 1)).all()
    assert answers["plies"].plies.mean() > 2 * answers["particles"].plies.mean()


def test_a_damaged_or_missing_net_is_refused(tmp_path):
    (tmp_path / "cut.onnx").write_bytes(NET.read_bytes()[:1000])
    for name in ("cut.onnx", "none.onnx"):
        with pytest.raises(ModelMismatch):
            load_edge_net(tmp_path / name)
    with pytest.raises(ModelMismatch, match="other pictures"):
        load_edge_net(NET.with_name("layouts.onnx"))
