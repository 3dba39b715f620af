"""Run the command line with ``python -m gaugewright``."""

from gaugewright.cli.main import main

if __name__ == "__main__":
    main()
