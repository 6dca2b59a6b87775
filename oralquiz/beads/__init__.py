"""The arithmetic of the bead frame: columns, rules, moves. Pure functions, no I/O."""

from oralquiz.beads.columns import Column, top
from oralquiz.beads.moves import BeadStep, Move, MoveOrder, TermMoves, explain, play_term
from oralquiz.beads.rules import ALL_RULES, DIRECT, Kind, Rule
from oralquiz.beads.sums import Sum

__all__ = [
    "ALL_RULES",
    "DIRECT",
    "BeadStep",
    "Column",
    "Kind",
    "Move",
    "MoveOrder",
    "Rule",
    "Sum",
    "TermMoves",
    "explain",
    "play_term",
    "top",
]
