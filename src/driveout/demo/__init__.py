"""The invented car that the demo command opens. Nothing here is a real make, place or person."""
