"""What a page asks and shows: questions to the journal, answers as plain records. Knows no HTTP and no files."""
