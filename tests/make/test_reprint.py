"""Figure blocks: found, run, written back, the rest of the text untouched."""

from __future__ import annotations

from make import reprint

TEXT = """# Title

<!-- exact: python -c "print(6 * 7)" -->
old
<!-- end -->
Between: `<!-- exact: python ... -->` and `<!-- end -->` inside a line are no block.
<!-- measured: python -c "print('many'); print('lines')" -->
<!-- end -->
"""


def test_blocks_are_found_in_all_documents(tmp_path):
    (tmp_path / "docs").mkdir()
    (tmp_path / "README.md").write_text(TEXT)
    (tmp_path / "docs/a.md").write_text("<!-- exact: python x -->\n1\n2\n<!-- end -->\n")
    found = reprint.blocks(tmp_path)
    assert [(b.path.name, b.exact, b.text) for b in found] == [
        ("README.md", True, "old"), ("README.md", False, ""), ("a.md", True, "1\n2"),
    ]


def test_writing_replaces_only_the_blocks(tmp_path):
    (tmp_path / "README.md").write_text(TEXT)
    reprint.write(tmp_path)
    text = (tmp_path / "README.md").read_text()
    assert text == TEXT.replace("old", "42").replace("lines')\" -->\n", "lines')\" -->\nmany\nlines\n")
    reprint.write(tmp_path)
    assert (tmp_path / "README.md").read_text() == text


def test_exact_only_leaves_measured_blocks_alone(tmp_path):
    (tmp_path / "README.md").write_text(TEXT)
    reprint.write(tmp_path, exact_only=True)
    assert (tmp_path / "README.md").read_text() == TEXT.replace("old", "42")
