"""Where the tool begins. What it works with takes a second or two to come; Ctrl-C may come sooner."""

import sys

STOPPED = 130  # 128 + SIGINT, as POSIX shells report it


def main() -> None:
    """The command line, as `tumblehome` and as `python -m tumblehome`."""
    try:
        from tumblehome import cli
    except KeyboardInterrupt:
        print("stopped: nothing was done", file=sys.stderr)
        sys.exit(STOPPED)
    cli.main()


if __name__ == "__main__":
    main()
