"""What a page or a command asks of a journal and says in answer. Knows no HTTP, no HTML and no files."""
