"""Small changes to a melody, by which `practice.amounts` finds out how much would bring a feature inside its norm.

An editor proposes changes for one purpose, the most telling first; `RECIPES` says which editor moves which feature
which way. A change is data (`Edit`); `apply_edits` turns a melody and some of them into a new melody.
"""

from __future__ import annotations

from stylemeter.practice.edits.edit import Edit, apply_edits, disjoint
from stylemeter.practice.edits.recipes import RECIPES, Recipe
from stylemeter.practice.edits.scene import Scene
from stylemeter.practice.edits.search import Edited, Goal, find_edits

__all__ = ["RECIPES", "Edit", "Edited", "Goal", "Recipe", "Scene", "apply_edits", "disjoint", "find_edits"]
