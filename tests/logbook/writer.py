"""A process to be killed: writes to a logbook and prints each row number once it is stored."""

import sys

from rig.logbook import Logbook


def main(path: str) -> None:
    with Logbook.open(path, writable=True) as book:
        run = book.start_run("drop", "5eed", {}, {})
        for index in range(1_000_000):
            with book.transaction():
                raw = book.store_raw(run, f"T{index}", bytes(range(256)) * 8, {})
                book.store_result(run, f"T{index}", "peak force", float(index), [raw])
                stored = book.append("trial", {"index": index}, run)
            print(stored, flush=True)
            print(book.append("step", {"index": index}, run), flush=True)


if __name__ == "__main__":
    main(sys.argv[1])
