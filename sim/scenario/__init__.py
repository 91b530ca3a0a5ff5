"""The file as the person wrote it: strict schema, loading, changes, errors that teach. File units end here."""
