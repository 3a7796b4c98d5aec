"""Results -> Altair specifications as plain data. A chart's title is its question; rows are inside, no URL is."""
