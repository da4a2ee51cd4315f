"""Performance claims: ``python -m bench NAME --json``, each a ratio against a fairly set-up peer in one run."""
