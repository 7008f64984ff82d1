"""Files of the bench: text in, values out. Nothing here opens a file."""
