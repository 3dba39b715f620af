"""Where the examples lie: in the installed package, or beside the sources."""

from pathlib import Path

from gaugewright.errors import FileError

FOLDERS = (
    Path(__file__).parents[1] / "examples",
    Path(__file__).parents[3] / "examples",
)


def example_path(name: str) -> Path:
    """Return the path of an example file; `FileError` if it was not installed.

    >>> example_path("loader-left.toml").name
    'loader-left.toml'
    """
    for folder in FOLDERS:
        if (folder / name).is_file():
            return folder / name
    raise FileError(f"the example {name} is missing from this installation")
