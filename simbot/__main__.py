"""`python -m simbot`."""

from simbot.cli import main

if __name__ == "__main__":
    main()
