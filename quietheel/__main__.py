"""``python -m quietheel``."""

from quietheel.cli import main

if __name__ == "__main__":
    main()
