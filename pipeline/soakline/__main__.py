"""`python -m soakline`: the same as the console script."""

from soakline.command.app import main

if __name__ == "__main__":
    main()
