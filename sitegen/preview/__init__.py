"""The site while one works on it: served to this machine only, made anew when a file changes, never written to disk."""
