"""The reference's notebook example runs as it stands."""

from __future__ import annotations

import re
import shutil

from project import readme as reading

from analysis.review.review import review_session


def test_the_notebook_example(tmp_path, monkeypatch, capsys):
    text = reading.reference()
    (code,) = reading.blocks(text, "python")
    monkeypatch.chdir(tmp_path)
    shutil.copytree(
        reading.README.parent / "sample_logs" / "slipway-launch-1", tmp_path / "slipway"
    )
    exec(compile(code, "DEVELOPERS.md", "exec"), {"__name__": "__main__"})
    efficiency = review_session("slipway")["measured"]["efficiency"]
    assert f"{efficiency['value']:.3f}" in capsys.readouterr().out
    pages = [p for p in tmp_path.iterdir() if p.suffix == ".html"]
    assert pages and all(re.search("plotly", p.read_text("utf-8")) for p in pages)
