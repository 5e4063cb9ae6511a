"""Rounds: the problem, travel, the solver and its independent checker."""
