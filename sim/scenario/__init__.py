"""The file as the person wrote it: strict schema, loading, changes, and errors that teach."""
