"""`python -m packcalc` is the command line."""

from packcalc.cli import main

if __name__ == "__main__":
    main()
