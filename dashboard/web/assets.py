"""Serves the scripts and styles of the pages, under an address that changes with their content.

A module imports its neighbours by relative addresses, so all of them stand under one version in the
path.  A browser may keep them: after an update the pages name another version, and no page ever runs
on modules of two versions.
"""

from __future__ import annotations

import hashlib
import posixpath
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from dashboard.web.gate import Answer, Route, WebRequest

FOLDER = Path(__file__).parents[1] / "assets"
# named here: what the machine's own table says of .js may stop a browser from running it
KINDS = {".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8"}
IMPORT = re.compile(r'^(?:import\b|\}) ?[^"\n]*"(\.[^"]+)";$', re.MULTILINE)
# folders that a page may load from: all but "entry", whose files are for anyone
SUBJECTS = tuple(sorted(f.name for f in FOLDER.iterdir() if f.is_dir() and f.name != "entry"))


@dataclass(frozen=True)
class Assets:
    """The files as they are when the program first asks for them.

    version: first digits of the SHA-256 of all names and contents.
    files: path below the folder, with "/" between its parts -> content.
    """

    version: str
    files: dict[str, bytes]


@cache
def assets() -> Assets:
    """Read all scripts and styles, once a run."""
    paths = sorted(p for s in SUBJECTS for p in (FOLDER / s).iterdir() if p.suffix in KINDS)
    files = {path.relative_to(FOLDER).as_posix(): path.read_bytes() for path in paths}
    digest = hashlib.sha256()
    for name, content in files.items():
        digest.update(f"{name} {len(content)} ".encode() + content)
    return Assets(version=digest.hexdigest()[:12], files=files)


def address(name: str) -> str:
    """The address of a script or style, as "live/tiles.js".  Raises KeyError where there is none."""
    every = assets()
    if name not in every.files:
        raise KeyError(name)
    return f"/assets/{every.version}/{name}"


def imports(entry: str) -> list[str]:
    """The modules that a module imports, and those that they import, without itself.

    A page names them all, so that a browser fetches them at once and not one after the other.
    """
    waiting, modules = [entry], {entry}
    while waiting:
        name = waiting.pop()
        text = assets().files[name].decode("utf-8")
        for relative in IMPORT.findall(text):
            other = posixpath.normpath(posixpath.join(posixpath.dirname(name), relative))
            if other not in modules:
                modules.add(other)
                waiting.append(other)
    return sorted(modules - {entry})


def route(*subjects: str) -> Route:
    """The route of the files in these folders; a browser may keep what it gets."""
    every = assets()
    names = "|".join(re.escape(name) for name in every.files if _subject(name) in subjects)

    def answer(request: WebRequest) -> Answer:
        """The file that is asked for."""
        name = request.match[1]
        return Answer(200, every.files[name], KINDS[Path(name).suffix], keep=True)

    return Route("GET", re.compile(f"/assets/{every.version}/({names})"), answer)


def _subject(name: str) -> str:
    """The folder of a file."""
    return name.split("/")[0]
