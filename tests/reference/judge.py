"""What the judges share: the case from standard input, and checks that print what they measured."""

import json
import sys

failed = False


def case():
    return json.load(sys.stdin)


def check(what, measured, limit, unit="", at_least=False):
    """Prints and judges one number: at most `limit`, or at least."""
    global failed
    good = measured >= limit if at_least else measured <= limit
    failed |= not good
    word = "at least" if at_least else "at most"
    print(f"{what}: {measured:.6g} {unit} ({word} {limit:g}){'' if good else '  FAILED'}")


def done():
    sys.exit(1 if failed else 0)
