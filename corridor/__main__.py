"""`python -m corridor` is the command `corridor`."""

from corridor.cli import main

if __name__ == "__main__":
    main()
