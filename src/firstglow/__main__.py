"""``python -m firstglow``."""

from firstglow.cli.main import run

if __name__ == "__main__":
    run()
