"""What ``pip`` does beyond copying: the compiled library is built where there is a C compiler (``solver/compiled/build.py``).

Without one nothing fails and nothing is missing: numpy does the same. The package is then as portable as any.
"""

import runpy
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

COMPILED = "src/firstglow/solver/compiled"


class CustomBuildHook(BuildHookInterface[Any]):
    """Found by hatchling by this name."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the library and have it packed; ``version`` "editable" leaves it where it was built."""
        builder = runpy.run_path(str(Path(self.root) / COMPILED / "build.py"))
        self.app.display_info(builder["build"]())
        library = f"{COMPILED}/{builder['LIBRARY']}"
        if version != "editable" and (Path(self.root) / library).is_file():
            build_data["artifacts"].append(library)
            build_data["pure_python"], build_data["infer_tag"] = False, True
