"""What is written to disk: JSON, trace.csv, and folders that appear whole or not at all."""
