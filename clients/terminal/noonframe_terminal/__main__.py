"""`python -m noonframe_terminal`."""

from noonframe_terminal.main import run

if __name__ == "__main__":
    run()
