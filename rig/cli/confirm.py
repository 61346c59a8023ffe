"""Asking a person once before a real stand moves."""

import sys


def confirmed(question: str) -> bool:
    """Whether somebody at the keyboard says yes; without a keyboard nobody does."""
    if not sys.stdin.isatty():
        print("nobody to ask: confirm the valve and clear hands with --yes", file=sys.stderr)
        return False
    return input(f"{question} [y/N] ").strip().lower() in ("y", "yes")
