"""`make seal`: everything that sealing needs as one file that Python runs, dist/evenbeam-seal.pyz.

In it are the modules of this folder, the three that they import, and openpyxl with what it needs, each with its
licence, as installed beside the Python that makes the file. The same inputs give the same bytes.
"""

from __future__ import annotations

import sys
import zipfile
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path

PACKAGE = Path(__file__).parents[1]
_BESIDE = ("__init__.py", "faults.py", "measures.py")  # of pipeline/
_LIBRARIES = ("openpyxl", "et_xmlfile")
_NOT_NEEDED = ("one_file.py",)
_MADE = (2025, 1, 1, 0, 0, 0)
_START = "from pipeline.seal.command import main\n\nraise SystemExit(main())\n"


def build(target: Path) -> Path:
    """Write the file; returns its path.

    Errors   SystemExit when a library that goes into it is not installed.
    """
    contents = {"__main__.py": _START.encode()}
    for name in _BESIDE:
        contents[f"pipeline/{name}"] = (PACKAGE / name).read_bytes()
    for path in sorted((PACKAGE / "seal").glob("*.py")):
        if path.name not in _NOT_NEEDED:
            contents[f"pipeline/seal/{path.name}"] = path.read_bytes()
    for library in _LIBRARIES:
        contents |= _library(library)
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(f".{target.name}.part")
    with part.open("wb") as file:
        file.write(b"#!/usr/bin/env python3\n")
        with zipfile.ZipFile(file, "a", zipfile.ZIP_DEFLATED) as archive:
            for name in sorted(contents):
                archive.writestr(zipfile.ZipInfo(name, _MADE), contents[name], zipfile.ZIP_DEFLATED)
    part.chmod(0o755)
    part.replace(target)
    return target


def _library(name: str) -> dict[str, bytes]:
    """The Python files of an installed library, and its licence."""
    try:
        parts = files(name) or []
    except PackageNotFoundError:
        raise SystemExit(f"{name} is not installed beside {sys.executable}: use `make seal`") from None
    return {
        str(part): Path(part.locate()).read_bytes()
        for part in parts
        if part.suffix == ".py" or "licen" in part.name.lower()
    }


if __name__ == "__main__":
    made = build(Path(sys.argv[1] if len(sys.argv) > 1 else "dist/evenbeam-seal.pyz"))
    print(f"wrote {made} ({made.stat().st_size // 1024} kB); at a site: python3 {made.name} --help")
