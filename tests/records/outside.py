"""Programs from outside that judge our documents. Missing ones skip a test at a desk and fail it in CI."""

import os
import shutil
import subprocess

import pytest


def outside_program(name, *arguments):
    """Run `name` and give back the finished process, output as text."""
    if shutil.which(name) is None:
        if os.environ.get("CI"):
            pytest.fail(f"{name} is not installed, and CI must not skip this check")
        pytest.skip(f"{name} is not installed")
    return subprocess.run([name, *map(str, arguments)], capture_output=True, text=True, check=False, timeout=60)
