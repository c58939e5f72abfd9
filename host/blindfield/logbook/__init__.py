"""The permanent record: `book.Logbook`, and `writer.Writer` to use it from an event loop."""
