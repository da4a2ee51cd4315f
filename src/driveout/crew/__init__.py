"""The crew: phones that are paired, people, and what each role may do."""

from driveout.crew.pairing import Tries, spelled, tidied
from driveout.crew.roles import POSTS, ROLES, needed_role

__all__ = ["POSTS", "ROLES", "Tries", "needed_role", "spelled", "tidied"]
