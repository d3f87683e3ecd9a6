"""`python -m mustwright`: the same as the command."""

from mustwright.cli.main import main

if __name__ == "__main__":
    main()
