"""The check digit of GS1 numbers, by which a slip in one of their digits shows.

Source: GS1 General Specifications, 7.9, as others quote the section; the figures are held by
tests/outside/test_gs1.py.
"""

from __future__ import annotations


def has_14_digits(text: str) -> bool:
    """Whether it is as long as GTINs are kept: shorter ones have zeros before them."""
    return len(text) == 14 and text.isascii() and text.isdecimal()


def check_digit(body: str) -> str:
    """The digit that belongs behind these: weights 3, 1, 3 … from the right, up to a full ten."""
    weighted = (int(digit) * (1 if n % 2 else 3) for n, digit in enumerate(reversed(body)))
    return str(-sum(weighted) % 10)


def check_digit_fits(digits: str) -> bool:
    """Whether the last digit is the one that the others give."""
    return check_digit(digits[:-1]) == digits[-1:]
