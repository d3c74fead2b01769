"""What the wheel holds beside the packages: the pages' scripts, bundled now by node, and the demo business's files.

Everything else stands in pyproject.toml. Whoever installs the wheel needs no node.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from setuptools import setup
from setuptools.command.build_py import build_py

ROOT = Path(__file__).parent


class Whole(build_py):
    """Builds the packages anew, with what they read beside their modules."""

    def run(self) -> None:
        if self.editable_mode:  # the tree itself is used: ops/setup bundles there
            super().run()
            return
        subprocess.run([sys.executable, str(ROOT / "ops" / "bundle")], check=True, stdout=sys.stderr)
        shutil.rmtree(self.build_lib, ignore_errors=True)  # a file that is gone from the tree must be gone from here
        super().run()
        demo = Path(self.build_lib) / "api" / "seeds" / "demo"
        shutil.copytree(ROOT / "seeds" / "demo", demo, ignore=shutil.ignore_patterns("pictures", ".*"))


setup(cmdclass={"build_py": Whole})
