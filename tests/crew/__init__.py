"""The crew: pairing, roles, who did it."""
