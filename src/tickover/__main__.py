"""``python -m tickover`` is the same as ``tickover``."""

from tickover.cli import main

if __name__ == "__main__":
    main()
