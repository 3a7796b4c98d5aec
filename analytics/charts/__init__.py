"""Results -> Altair charts. A chart's title is its question, its interval is drawn, and it says n."""
