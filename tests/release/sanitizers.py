"""The compiled search under the address and undefined behaviour sanitizers of GCC or Clang.

``python tests/release/sanitizers.py`` compiles it, and runs its tests on a thousand inputs a law.
"""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import tempfile
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "service" / "shortway" / "core" / "shortest_path" / "_points.c"
TESTS = ROOT / "tests" / "core" / "shortest_path" / "test_points.py"
CHECKS = ("-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-g", "-O1")

#: Loads the extension from argv[1], before anything imports it, and runs the tests argv[2].
_RUN = """
import importlib.util, sys
name = "shortway.core.shortest_path._points"
spec = importlib.util.spec_from_file_location(name, sys.argv[1])
sys.modules[name] = importlib.util.module_from_spec(spec)
spec.loader.exec_module(sys.modules[name])
import pytest
sys.exit(pytest.main([sys.argv[2], "-n0", "-p", "no:cacheprovider", "--hypothesis-profile=new"]))
"""


def main() -> int:
    """Compile and test; the exit code of the tests."""
    compiler = os.environ.get("CC", "cc")
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "_points.abi3.so"
        include = f"-I{sysconfig.get_path('include')}"
        # One clone: the loader chooses among several before the sanitizer is there.
        build = [compiler, *CHECKS, "-DONE_CLONE", "-fPIC", "-shared", include, SOURCE, "-o", made]
        subprocess.run(build, check=True)
        library = subprocess.run(
            [compiler, "-print-file-name=libasan.so"], check=True, capture_output=True, text=True
        ).stdout.strip()
        # Python keeps memory to its end, which is no leak of ours.
        options = {"LD_PRELOAD": library, "ASAN_OPTIONS": "detect_leaks=0"}
        command = [sys.executable, "-c", _RUN, made, TESTS]
        return subprocess.run(
            command, cwd=ROOT, env={**os.environ, **options}, check=False
        ).returncode


if __name__ == "__main__":
    sys.exit(main())
