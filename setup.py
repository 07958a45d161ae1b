"""Build from what stands here now: what an earlier build left in build/ does not get into the next wheel."""

import shutil

from setuptools import setup
from setuptools.command.build_py import build_py


class FromNothing(build_py):
    """Copies the packages into a folder that is empty before."""

    def run(self) -> None:
        """Clear away what is there, unless packages are used from where they stand."""
        if not self.editable_mode:
            shutil.rmtree(self.build_lib, ignore_errors=True)
        super().run()


setup(cmdclass={"build_py": FromNothing})
