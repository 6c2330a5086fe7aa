"""Generates the stubs of the API while the package is built; everything else stands in pyproject.toml."""

import pathlib

from setuptools import setup
from setuptools.command.build_py import build_py

HERE = pathlib.Path(__file__).resolve().parent
# In the repository a link to its own folder of that name, in a source distribution a copy.
PROTOS = HERE / "proto"
PACKAGE = "goodwire/v1"
ABOUT = '"""Generated from the API\'s protos. Not part of the face: use `goodwire` itself."""\n'


class BuildWithStubs(build_py):
    """Builds as always, then generates the package `goodwire.v1` beside it."""

    def run(self):
        super().run()
        # Editable installations take the source folder as it is.
        folder = HERE / "src" if self.editable_mode else pathlib.Path(self.build_lib)
        generate(folder.resolve())


def generate(folder):
    """Writes the stubs below a folder. The protos' path is the package's, so that imports agree."""
    from grpc_tools import protoc

    protos = sorted(map(str, (PROTOS / PACKAGE).glob("*.proto")))
    included = pathlib.Path(protoc.__file__).parent / "_proto"
    command = ["protoc", f"-I{PROTOS}", f"-I{included}"]
    command += [f"--{kind}={folder}" for kind in ("python_out", "pyi_out")]
    (folder / PACKAGE).mkdir(parents=True, exist_ok=True)
    if protoc.main([*command, *protos]):
        raise SystemExit(f"the protos in {PROTOS} do not compile")
    (folder / PACKAGE / "__init__.py").write_text(ABOUT)


setup(cmdclass={"build_py": BuildWithStubs})
