"""Help inside: the guide, a page for each method, the map, commands and sources."""
