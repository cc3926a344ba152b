"""Lets ``python -m assistant`` do what ``probetell`` does."""

from assistant.cli import main

if __name__ == "__main__":
    main()
