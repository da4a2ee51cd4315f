"""Owners and cars with hidden truth: the whole loop played through, to compare ways of deciding and to teach."""
