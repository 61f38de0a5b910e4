"""What mkdocs calls: pages made from the schema, from the commands and from the verification runs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from mkdocs.structure.files import File, Files

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
sys.path.insert(0, str(ROOT))  # mkdocs runs hooks by their path

from viewer.docs.generated import commands_page, fields_page, files_page, styles, verification_page  # noqa: E402
from viewer.docs.names import names_page  # noqa: E402
from viewer.docs.rooms import rooms_page  # noqa: E402

VERIFICATION = ROOT / "benchmarks" / "verification"


def on_files(files: Files, config: Any) -> Files:
    """Add the pages that nobody writes by hand, the styles, and the figures of the verification."""
    made = {
        "reference-fields.md": fields_page(),
        "reference-commands.md": commands_page(),
        "reference-files.md": files_page(),
        "reference-names.md": names_page(),
        "reference-rooms.md": rooms_page(),
        "verification.md": verification_page(VERIFICATION / "README.md"),
        "verification-snow.md": verification_page(VERIFICATION / "SNOW.md"),
        "style.css": styles(),
    }
    for name, text in made.items():
        files.append(File.generated(config, name, content=text))
    for path in sorted(VERIFICATION.glob("*.svg")):
        files.append(File.generated(config, path.name, abs_src_path=str(path)))
    picture = ROOT / "models" / "cedar-hollow" / "utilization.png"
    files.append(File.generated(config, "figures/utilization.png", abs_src_path=str(picture)))
    return files
