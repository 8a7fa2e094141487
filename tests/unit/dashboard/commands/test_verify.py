"""`haul verify`: its words and exit status in every state."""

import hashlib

import pytest


def test_complete_prints_the_digest_of_the_seal(haul, session):
    said = haul("verify", session)
    digest = hashlib.sha256((session / "SHA256SUMS").read_bytes()).hexdigest()
    assert (said.status, said.err) == (0, "")
    assert said.out.splitlines()[0] == "complete"
    assert digest in said.out


def test_changed_names_the_file_and_answers_no(haul, session):
    with (session / "readings.csv").open("a") as file:
        file.write("13.0,haul_force,1\n")
    said = haul("verify", session)
    assert said.status == 1
    assert said.out.splitlines()[0] == "changed" and "readings.csv" in said.out
    assert haul("verify", session, "--repair").status == 1  # repair is for cut short alone


def test_cut_short_answers_no_until_it_is_repaired(haul, session):
    import json

    (session / "SHA256SUMS").unlink()
    package = json.loads((session / "datapackage.json").read_text("utf-8"))
    for resource in package["resources"]:  # as a recorder that was killed leaves it
        resource.pop("hash", None)
        resource.pop("bytes", None)
    for key in ("ended_at", "haul_files", "haul_self"):
        package.pop(key, None)
    (session / "datapackage.json").write_text(json.dumps(package), "utf-8")
    with (session / "readings.csv").open("a") as file:
        file.write("13.0,haul_fo")
    said = haul("verify", session)
    assert (said.status, said.out.splitlines()[0]) == (1, "cut short")
    said = haul("verify", session, "--repair")
    assert (said.status, said.out.splitlines()[0]) == (0, "complete")
    assert (session / "torn-tail.bin").read_bytes() == b"13.0,haul_fo"


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("empty", "it is not a session folder: it has no datapackage.json; give the folder that"),
        ("none", "there is no such folder; give the folder that"),
        ("file", "it is a file, not a folder; give the folder that"),
        ("newer", "datapackage.json has format 99, newer than this program reads (1); use a newer"),
    ],
)
def test_what_is_no_session_is_told_in_one_sentence(haul, tmp_path, name, sentence):
    (tmp_path / "empty").mkdir()
    (tmp_path / "newer").mkdir()
    (tmp_path / "newer" / "datapackage.json").write_text('{"haul_format": 99}', "utf-8")
    (tmp_path / "file").write_text("x", "utf-8")
    said = haul("verify", tmp_path / name)
    assert said.status == 2 and said.err.count("\n") == 1
    assert said.err.startswith(f"haul: {tmp_path / name}: unreadable: {sentence}")
