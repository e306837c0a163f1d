"""Run the command line with `python -m blendplan`."""

from blendplan.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
