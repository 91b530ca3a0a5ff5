"""Controls: what a hand or a key can push, drag, open or type into."""
