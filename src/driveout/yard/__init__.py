"""All the person's cars at once: one row each, and what each needs next, because."""

from driveout.yard.next_step import Situation, Step, next_step

__all__ = ["Situation", "Step", "next_step"]
