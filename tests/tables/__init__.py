"""Record tables as real ones are: read right, or refused with the whole message."""
