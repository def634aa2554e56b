"""What the second board runs: `tumblehome bench flash --as second` puts it there as `main`."""

import gc


def run() -> None:
    gc.collect()
    from boards import second

    second.run()


if __name__ == "__main__":
    run()
