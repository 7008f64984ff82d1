"""The models of every topic: what leaves, what a display may send, and their schemas."""
