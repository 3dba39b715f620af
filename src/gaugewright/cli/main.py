"""The one program."""


def main() -> None:
    """Run the command line."""
