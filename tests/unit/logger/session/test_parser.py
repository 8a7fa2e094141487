"""The fast parser and the careful one read the same."""

from __future__ import annotations

import numpy as np

from logger.session import parser as session_parse


def test_the_fast_and_the_careful_parser_agree_to_the_last_bit() -> None:
    rng = np.random.default_rng(7)
    rows = b"".join(
        b"%.4f,%s,%r\n" % (i / 300, (b"a", b"b")[i % 2], float(v))
        for i, v in enumerate(rng.normal(1000, 300, 5000))
    )
    fast, slow = session_parse.ReadingsParser(["a", "b"]), session_parse.ReadingsParser(["a", "b"])
    quick, careful = fast._fast(rows), slow._slow(rows)
    assert quick is not None
    for name in ("a", "b"):
        for one, two in zip(quick[name], careful[name], strict=True):
            assert one.tobytes() == two.tobytes()
