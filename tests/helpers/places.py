"""Where things lie in the checkout."""

from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
ROOT = TESTS.parent
INPUTS = TESTS / "inputs"
